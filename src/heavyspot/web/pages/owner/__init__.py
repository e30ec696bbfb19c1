"""What a person keeps of themselves, and an owner of all: keys, passkeys, and who wrote what."""

from . import audit, keys, passkeys

ROUTERS = (keys.router, passkeys.router, audit.router)
