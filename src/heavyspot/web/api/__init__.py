"""The same as JSON under /api, one file a subject."""

from . import (
    bench,
    cartridge,
    flow,
    job,
    model,
    people,
    rig,
    rotor,
    run,
    spins,
    station,
    story,
)

ROUTERS = tuple(
    part.router
    for part in (
        story,
        flow,
        model,
        rig,
        people,
        job,
        bench,
        run,
        rotor,
        spins,
        station,
        cartridge,
    )
)
"""In the order they are asked: the piece itself last, whose address takes any serial."""
