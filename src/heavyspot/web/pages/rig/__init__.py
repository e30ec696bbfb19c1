"""A rig's pages: its health, what is read anew, and how it counts its angles."""

from . import angles, health

ROUTERS = (health.router, angles.router)
