"""What the shop can learn from itself: a copy of the ledger's narrow columns that answers at once."""
