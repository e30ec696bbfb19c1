"""The same as JSON under /api/v1, one file a subject."""

from . import (
    agents,
    bench,
    cartridge,
    curves,
    flow,
    hooks,
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
        agents,
        flow,
        model,
        rig,
        people,
        hooks,
        job,
        bench,
        run,
        rotor,
        spins,
        curves,
        station,
        cartridge,
    )
)
"""In the order they are asked: the piece itself last, whose address takes any serial."""
