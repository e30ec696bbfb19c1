"""Whether a sensor tells the truth: alive, not clipped, mounted as stated."""
