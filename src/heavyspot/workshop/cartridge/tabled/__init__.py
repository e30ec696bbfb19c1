"""Runs that came as tables: read by what is known of their rig's angles."""

from __future__ import annotations

from .reading import read_table, zero_deg_of

__all__ = ["read_table", "zero_deg_of"]
