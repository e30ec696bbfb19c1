"""What somebody says of the newest cuts: they are there as written down, or are let be; and the advice anew."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict

from ...ledger.records import Answer, Cut, Learnt
from ...quantities.errors import BadInput
from ...quantities.said import Said
from ..model import known_of
from ..reading import advice_json, fed_by_rig, judge_curves, measuring_for, ruled
from ..rig import known_rig
from ..shop import Workshop
from .advising import advise_on
from .cut_scatter import cut_scatter_of
from .evidence import Known
from .learning import OF_CUTS, learnt_anew
from .past import history_of, past_runs, trusted_curves
from .story import CartridgeStory, cartridge_story
from .tabled import zero_deg_of


def looked(
    shop: Workshop, serial: str, *, by: str = "", knowingly: bool = False, why: str = ""
) -> CartridgeStory:
    """Say that the newest cuts are on the piece as they are written down; the advice is made anew.

    Parameters
    ----------
    knowingly : bool
        An inspector lets the work go on although it got far worse; `why` is then needed.

    Returns
    -------
    CartridgeStory
        The piece as it stands now.

    Raises
    ------
    NotThere
        No such piece.
    BadInput
        Nothing is asked of the newest cuts, or no reason is given where one is needed.
    """
    story = cartridge_story(shop, serial)
    cuts = newest_cuts(story)
    if not cuts or story.last is None or story.last.result.advice.action != "fix":
        raise BadInput(
            Said("refusal.nothing_is_asked_of_the", {"serial": serial}),
            remedy=Said("remedy.look_it_up_with_show"),
        )
    if knowingly and not why.strip():
        raise BadInput(Said("refusal.going_on_in_spite_of"), remedy=Said("remedy.say_why"))
    ids = {c.id for c in cuts}
    return answered(shop, story, looked=ids, knowingly=ids if knowingly else (), by=by, why=why)


def newest_cuts(story: CartridgeStory) -> tuple[Cut, ...]:
    """Return the cuts that the last run is the first to show, or a repeat of it; empty before any."""
    seen = [c for c in story.made if c.after_run < story.number]
    last = max((c.after_run for c in seen), default=0)
    return tuple(c for c in seen if c.after_run == last)


def answered(
    shop: Workshop,
    story: CartridgeStory,
    *,
    looked: Iterable[str] = (),
    knowingly: Iterable[str] = (),
    by: str = "",
    why: str = "",
) -> CartridgeStory:
    """Make the advice after the last run anew from the record as it now is, and keep it with what was said.

    What this piece teaches others is derived anew too, so that an amended cut teaches nothing wrong. A run
    whose findings forbid a cut, or without a curve, keeps its advice.
    """
    last = story.last
    looks, lets = story.looked | set(looked), story.knowingly | set(knowingly)
    if last is None:
        return story
    measuring = measuring_for(shop.book, story.model, last.entry.rig)
    model = fed_by_rig(story.model, measuring)
    curves = trusted_curves(shop, story)
    history = history_of(curves, story.made, model, looked=looks, knowingly=lets)
    past = next(p for p in past_runs(shop, story) if p.number == last.number)
    judgement = (
        judge_curves(past.curves, model, past.sensors, measuring.shares, first=past.number == 1)
        if past.curves
        else None
    )
    if history is None or judgement is None or curves[-1].number != last.number:
        return story
    serviced_at = known_rig(shop, last.entry.rig).serviced_at
    table = past.curves[0].is_table
    priors, guesses = known_of(
        shop,
        model,
        None if table and zero_deg_of(last) is None else history.grid_rpm,
        rig=last.entry.rig,
        serviced_at=serviced_at,
        not_piece=story.piece.id,
        sensors=history.names,
        lags_deg=last.result.lags_deg,
    )
    findings = tuple(f for f in last.result.findings if f.code not in OF_CUTS)
    known = Known(
        model=model,
        history=history,
        judgement=ruled(judgement, findings),
        findings=findings,
        priors=priors,
        guesses=guesses,
        scatter=cut_scatter_of(shop.book, model, last.entry.by),
        highest_rpm=max(float(c.speed_rpm.max()) for c in past.curves),
        sensor_lag_deg=last.result.sensor_lag_deg,
    )
    advised = advise_on(known, last.number, story.made)
    answer = Answer(
        piece_id=story.piece.id,
        run_id=last.entry.id,
        number=last.number,
        looked=sorted(looks),
        knowingly=sorted(lets),
        advice=advice_json(advised.advice, model.rotation),
        by=by,
        why=why.strip(),
    )
    asked = [
        Cut(piece_id=story.piece.id, after_run=last.number, kind="asked", **asdict(c))
        for c in advised.advice.cuts
    ]
    taught = shop.book.library.taught_by(story.piece.id)
    learnt = Learnt() if table else learnt_anew(known, advised, last.entry, taught)
    shop.book.cartridges.add_answer(answer, asked, learnt)
    return cartridge_story(shop, story.piece.serial)
