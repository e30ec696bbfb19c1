"""Commands that keep the shop's record: copies, proofs, reading anew, retention."""
