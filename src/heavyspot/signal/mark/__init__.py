"""The once-per-turn mark: its wave, the turns it counts, and whether it tells the speed."""
