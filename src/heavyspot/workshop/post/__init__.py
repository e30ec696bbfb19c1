"""Sheets sent by mail: asked for, queued on the disk, sent and tried again, proven in the piece's story."""

from .letters import Letter, again, give_up, mail_sheet, waiting_letters
from .sending import send_waiting

__all__ = ["Letter", "again", "give_up", "mail_sheet", "send_waiting", "waiting_letters"]
