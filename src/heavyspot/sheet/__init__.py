"""From a frozen report value to PDF bytes: the same value, the same bytes."""
