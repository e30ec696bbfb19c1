"""What a person keeps of themselves, and an owner of all: keys, and who wrote what."""

from . import audit, keys

ROUTERS = (keys.router, audit.router)
