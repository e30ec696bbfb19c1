"""Pages, one file a subject: parse, call one verb of the workshop, show."""

from . import (
    bench,
    flow,
    insight,
    job,
    ledger,
    model,
    people,
    rig,
    rotor,
    rotor_machine,
    station,
    story,
    verify,
)

ROUTERS = tuple(
    part.router
    for part in (
        people,
        bench,
        job,
        model,
        rotor,
        rotor_machine,
        flow,
        verify,
        ledger,
        station,
        story,
        insight,
        rig,
    )
)
