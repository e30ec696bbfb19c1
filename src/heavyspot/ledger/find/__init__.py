"""Finding: one box for a piece, narrow columns in bulk, the index made anew."""
