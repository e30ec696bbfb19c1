"""Web hooks: other programs told of verdicts and findings, signed, queued on the disk, tried again, visible.

After the *Standard Webhooks* specification: ``webhook-id``, ``webhook-timestamp`` and ``webhook-signature``.
"""

from .registry import Hook, add_hook, all_hooks, end_hook, find_hook, renew_secret
from .waiting import Delivery, again, deliveries_of

__all__ = [
    "Delivery",
    "Hook",
    "add_hook",
    "again",
    "all_hooks",
    "deliveries_of",
    "end_hook",
    "find_hook",
    "renew_secret",
]
