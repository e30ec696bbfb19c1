"""What a template shows, worked out before it: typed values; a template compares, reckons and decides nothing."""
