"""Speed as ratios against named references in the same run: ``make bench``."""
