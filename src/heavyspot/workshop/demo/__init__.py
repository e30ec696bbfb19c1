"""The demo shop: its models and rigs, and a simulated piece for every serial."""
