"""Where photos are worked on: in processes of this computer, or on a cluster of several."""
