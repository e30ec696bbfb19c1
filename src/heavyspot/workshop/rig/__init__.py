"""Rigs: their sensors, their health, the simulated ones."""
