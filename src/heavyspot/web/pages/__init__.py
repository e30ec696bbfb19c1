"""Pages, one file a subject: parse, call one verb of the workshop, show."""

from . import (
    bench,
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
    rotor_machine,
    station,
    story,
    verify,
)

ROUTERS = (
    *bench.ROUTERS,
    *owner.ROUTERS,
    *(
        part.router
        for part in (
            people,
            day,
            job,
            model,
            rotor,
            rotor_machine,
            flow,
            help,
            verify,
            ledger,
            station,
            story,
            help,
            recording,
            insight,
            rig,
            connect,
        )
    ),
)
