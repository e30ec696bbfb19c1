"""Where samples come from: recording files (and, later, live devices). Blocks in, never pictures."""
