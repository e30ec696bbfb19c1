"""A second building: its exchange with the main house."""
