"""From graded stones to money: lots, chips, prices, keep or break, parcels. Pure sums; no pictures, files or clock."""
