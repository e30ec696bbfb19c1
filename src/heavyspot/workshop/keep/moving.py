"""The ledger moved to another database."""

from __future__ import annotations

from ...ledger.exchange.move import move_ledger

__all__ = ["move_ledger"]
