"""What the seller does with dug stone, each as one act in the ledger: haul, number, weigh, lot, break, sell, undo."""
