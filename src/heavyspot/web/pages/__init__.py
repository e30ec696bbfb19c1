"""Pages, one file a subject: parse, call one verb of the workshop, show."""

from . import (
    bench,
    card,
    connect,
    day,
    flow,
    help,
    insight,
    job,
    ledger,
    model,
    owner,
    people,
    recording,
    rig,
    rotor,
    station,
    story,
    verify,
)

ROUTERS = (
    *bench.ROUTERS,
    *owner.ROUTERS,
    *rig.ROUTERS,
    *rotor.ROUTERS,
    *(
        part.router
        for part in (
            people,
            day,
            job,
            card,
            model,
            flow,
            verify,
            ledger,
            station,
            story,
            help,
            recording,
            insight,
            connect,
        )
    ),
)
