"""``heavyspot rotor``: sums of the trade that need no ledger, and matching of parts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from ...quantities.errors import BadInput
from ...quantities.words import short
from ..common import By, Json, emit, named, open_workshop
from .work import Serial, rotor_app

__all__ = ["rotor_app"]


@rotor_app.command("tolerance")
def rotor_tolerance(
    mass: Annotated[float, typer.Option("--mass", help="Mass, kg, or what --mass-unit says.")],
    speed: Annotated[float, typer.Option("--speed", help="Service speed, rpm.")],
    grade: Annotated[float, typer.Option("--grade", help="Balance quality grade G, mm/s.")] = 6.3,
    mass_unit: Annotated[str, typer.Option("--mass-unit", help="kg, g, lb or oz.")] = "kg",
    json: Json = False,
) -> None:
    """What may stay, by grade and by the 4W/N rule, in all the trade's units."""
    from ...workshop.rotor.sums import tolerance

    found = tolerance(mass, speed, grade, mass_unit=mass_unit)
    total, in_ounces = found.permissible_gmm, found.permissible("oz-in")
    rule, rule_in_ounces = found.four_w_over_n_gmm, found.four_w_over_n("oz-in")
    if json:
        values = {
            "permissible_gmm": total, "specific_um": found.specific_um, "permissible_ozin": in_ounces,
            "four_w_over_n_half_load_gmm": rule, "four_w_over_n_half_load_ozin": rule_in_ounces,
        }  # fmt: skip
        emit(values)
        return
    typer.echo(f"G {grade:g}, {mass:g} {mass_unit}, {speed:,.0f} rpm (ISO 21940-11; whole rotor):")
    typer.echo(
        f"  {short(total, 4)} g·mm = {short(found.specific_um, 4)} µm (g·mm/kg) = {short(in_ounces, 4)} oz-in"
    )
    typer.echo(
        f"4W/N, half the rotor on the journal: {short(rule, 4)} g·mm = {short(rule_in_ounces, 4)} oz-in a plane"
    )


@rotor_app.command("split")
def rotor_split(
    amount: Annotated[str, typer.Argument(help="Correction, amount@degrees.")],
    places: Annotated[int, typer.Option("--places", help="Evenly spread places.", min=1, max=3600)],
    first: Annotated[float, typer.Option("--first", help="Angle of the first place.")] = 0.0,
    most: Annotated[float | None, typer.Option("--most", help="Most at one place.")] = None,
    json: Json = False,
) -> None:
    """Split a correction over fixed places."""
    import numpy as np

    from ...balance.rotor.places import split_over
    from ...quantities.angles import phasor
    from ...workshop.rotor.vectors import read_pair

    at = (first + 360.0 / max(places, 1) * np.arange(places)) % 360.0
    found = split_over(
        complex(phasor(*read_pair(amount))), at, most_each=float("inf") if most is None else most
    )
    made = [(float(a), float(m)) for a, m in zip(at, found.amounts, strict=True) if m > 0]
    if json:
        rows = [{"angle_deg": a, "amount": m} for a, m in made]
        emit({"places": rows, "stays": abs(found.residual)})
        return
    for angle, mass in made:
        typer.echo(f"  {short(mass, 4):>10} at {angle:5.1f}°")
    typer.echo(f"  {short(abs(found.residual), 4):>10} stays")


@rotor_app.command("index")
def rotor_index(
    readings: Annotated[
        list[str], typer.Argument(help="Readings, amount@degrees on the rotor, in order.")
    ],
    step: Annotated[
        float, typer.Option("--step", help="Degrees of index between readings.")
    ] = 180.0,
    json: Json = False,
) -> None:
    """Tell rotor and fixture apart by turning the rotor on its fixture."""
    import numpy as np

    from ...balance.rotor.tooling import index_method
    from ...quantities.angles import angle_of, phasor
    from ...workshop.rotor.vectors import read_pair

    v = [complex(phasor(*read_pair(r))) for r in readings]
    found = index_method(v, np.arange(len(v)) * step)
    parts = {
        name: (abs(u), float(angle_of(u)))
        for name, u in (("rotor", found.rotor), ("fixture", found.fixture))
    }
    if json:
        emit({**_as_vectors(parts), "standard": found.standard})
        return
    for name, (amount, angle) in parts.items():
        typer.echo(f"  {name:<8} {short(amount, 4):>10} at {angle:5.1f}°")
    if len(v) > 2:
        typer.echo(f"  ± {short(2 * found.standard, 2)} (k = 2)")


Planes = Annotated[str, typer.Option("--planes", help='Positions along the shaft, mm: "0 100".')]


@rotor_app.command("transfer")
def rotor_transfer(
    amounts: Annotated[list[str], typer.Argument(help="Unbalance in each plane, amount@degrees.")],
    planes: Planes,
    to: Annotated[str, typer.Option("--to", help='The two other planes, mm: "10 80".')],
    json: Json = False,
) -> None:
    """Unbalance in two other planes that acts the same."""
    from ...balance.rotor.rigid import transfer
    from ...workshop.rotor.vectors import read_numbers

    where = read_numbers(to)
    if len(where) != 2:
        raise BadInput(f"{len(where)} planes to transfer to.", remedy='Give two: --to "10 80".')
    u, at = _in_planes(amounts, planes)
    _show_vectors(
        dict(zip(("plane 1", "plane 2"), transfer(u, at, (where[0], where[1])), strict=True)), json
    )


@rotor_app.command("parts")
def rotor_parts(
    amounts: Annotated[list[str], typer.Argument(help="Unbalance in each plane, amount@degrees.")],
    planes: Planes,
    centre: Annotated[float, typer.Option("--centre", help="Centre of mass, mm.")],
    json: Json = False,
) -> None:
    """Static and couple part, and what kind of unbalance it is."""
    from ...balance.rotor.rigid import couple_pair, parts_of

    u, at = _in_planes(amounts, planes)
    parts = parts_of(u, at, centre)
    pair = couple_pair(parts.couple, (at[0], at[-1]))
    vectors = {"static": parts.static, "couple, plane 1": pair[0], "couple, last plane": pair[1]}
    if not json:
        typer.echo(
            parts.kind
            + (f", in the plane at {parts.at_mm:.1f} mm" if parts.at_mm is not None else "")
        )
    _show_vectors(vectors, json, kind=parts.kind)


def _in_planes(amounts: list[str], planes: str) -> tuple[list[complex], list[float]]:
    from ...quantities.angles import phasor
    from ...workshop.rotor.vectors import read_numbers, read_pair

    u, at = [complex(phasor(*read_pair(a))) for a in amounts], read_numbers(planes)
    if len(u) != len(at):
        raise BadInput(
            f"{len(u)} amounts for {len(at)} planes.", remedy="Give one amount for each."
        )
    return u, at


def _show_vectors(vectors: dict[str, complex], json: bool, **more: str) -> None:
    from ...quantities.angles import angle_of

    rows = {k: (abs(u), float(angle_of(u))) for k, u in vectors.items()}
    if json:
        emit({**_as_vectors(rows), **more})
        return
    for name, (amount, angle) in rows.items():
        typer.echo(f"  {name:<18} {short(amount, 4):>10} at {angle:5.1f}°")


def _as_vectors(rows: dict[str, tuple[float, float]]) -> dict[str, dict[str, float]]:
    return {k: {"amount": amount, "angle_deg": angle} for k, (amount, angle) in rows.items()}


@rotor_app.command("budget")
def rotor_budget(
    runout: Annotated[
        list[str] | None,
        typer.Option("--runout", help="name=kg,mm: a mass and the dial's reading."),
    ] = None,
    clearance: Annotated[
        list[str] | None,
        typer.Option("--clearance", help="name=kg,mm: a mass and its fit's clearance."),
    ] = None,
    key: Annotated[
        list[str] | None,
        typer.Option(
            "--full-key", help="name=g,radius,height: a full key where half is asked for."
        ),
    ] = None,
    other: Annotated[list[str] | None, typer.Option("--other", help="name=g·mm.")] = None,
    json: Json = False,
) -> None:
    """What runout, clearances and keys may add, likely and at most (ISO 21940-14 and -32)."""
    from ...balance.rotor.tooling import (
        Contribution,
        budget,
        clearance_gmm,
        half_key_gmm,
        runout_gmm,
    )

    def numbers(text: str, n: int) -> tuple[str, list[float]]:
        name, values = named(text)
        try:
            found = [float(v) for v in values.split(",")]
        except ValueError:
            found = []
        if len(found) != n:
            raise BadInput(
                f'"{text}" does not hold {n} numbers.', remedy="Write it like name=0.35,0.01."
            )
        return name, found

    def half_key(mass: float, radius: float, height: float) -> float:
        return half_key_gmm(mass, radius, key_height_mm=height)

    kinds: list[tuple[list[str] | None, int, Callable[..., float]]] = [
        (runout, 2, runout_gmm),
        (clearance, 2, clearance_gmm),
        (key, 3, half_key),
        (other, 1, float),
    ]
    parts = []
    for texts, n, amount in kinds:
        for text in texts or []:
            name, values = numbers(text, n)
            parts.append(Contribution(name, amount(*values)))
    likely, most = budget(parts)
    if json:
        emit(
            {"parts": {p.name: p.amount_gmm for p in parts}, "likely_gmm": likely, "most_gmm": most}
        )
        return
    for p in parts:
        typer.echo(f"  {p.name:<18} {short(p.amount_gmm, 4):>10} g·mm")
    typer.echo(f"  likely {short(likely, 4)} g·mm, at most {short(most, 4)} g·mm")


@rotor_app.command("match")
def rotor_match(
    file: Annotated[Path, typer.Argument(help="Table: kind,name,amount_gmm,angle_deg.")],
    step: Annotated[
        list[str] | None, typer.Option("--step", help="kind=degrees a kind may be turned by.")
    ] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Keep the proposal in the ledger.")] = False,
    by: By = "",
    json: Json = False,
) -> None:
    """Propose which parts to put together, and how turned."""
    from ...workshop.rotor.machine_proofs import match
    from ...workshop.rotor.vectors import read_parts, read_text

    steps = dict(named(s) for s in step or [])
    kinds = read_parts(read_text(file))
    told = match(
        open_workshop() if keep else None,
        kinds,
        steps_deg={k: float(v) for k, v in steps.items()},
        by=by,
    )
    if json:
        emit(told.as_json())
        return
    proposal = told.proposal
    for a in proposal.assemblies:
        parts = ", ".join(
            f"{name} turned {a.turned_deg[k]:.0f}°" if a.turned_deg[k] else name
            for k, name in a.parts.items()
        )
        typer.echo(f"  {parts}: {short(a.residual_gmm)} g·mm stays")
    typer.echo(
        f"In all {short(proposal.total_gmm)} g·mm (as they come {short(proposal.as_they_come_gmm)}; "
        f"never below {short(proposal.bound_gmm)})."
    )


@rotor_app.command("compare")
def rotor_compare(
    matching: Annotated[str, typer.Argument(help="Identifier of the proposal.")],
    assembly: Annotated[int, typer.Argument(help="Number of the assembly, from 1.")],
    serial: Serial,
    json: Json = False,
) -> None:
    """An assembly beside its prediction: what the cartridge's first high-speed spin shows."""
    from ...workshop.rotor.assembly import compare_assembly

    told = compare_assembly(open_workshop(), matching, assembly, serial)
    if json:
        emit(asdict(told))
        return
    typer.echo(f"{', '.join(told.parts.values())} as {serial}")
    typer.echo(f"  promised {short(told.promised_gmm):>10} g·mm at {told.promised_deg:5.1f}°")
    typer.echo(
        f"  seen     {short(told.seen_gmm):>10} g·mm at {told.seen_deg:5.1f}° as if all on {told.plane}"
    )
    typer.echo(
        f"  That explains {100 * told.explained:.0f} % of the spin ({told.units} units known)."
    )
