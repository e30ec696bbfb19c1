"""Pages of loose rotors, and of the machines they turn on."""

from . import machine, work

ROUTERS = (work.router, machine.router)
