"""What a person keeps of themselves, and an owner of all: keys, passkeys, web hooks, and who wrote what."""

from . import audit, hooks, keys, passkeys

ROUTERS = (keys.router, passkeys.router, hooks.router, audit.router)
