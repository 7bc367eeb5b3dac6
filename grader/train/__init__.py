"""Training of the small networks, from renders only. Needs the extra ``train`` (PyTorch)."""
