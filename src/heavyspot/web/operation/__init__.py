"""Running it: is it well, how much does it do, what happened in which request."""
