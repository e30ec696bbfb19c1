"""The bench's question as its templates show it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ...balance import limits
from ...balance.cut.doubt import Explanation, check_said, explanation_said
from ...quantities.angles import Rotation
from ...quantities.finding import Finding, blocking_of
from ...quantities.said import in_words
from ...sheet.plots import DIAL_SIZE, MOST_REACH, RIM_SHARE
from ...workshop.bench.setup_check import Check
from ...workshop.cartridge.story import CartridgeStory, KeptRun
from ...workshop.job.build_record import BuildState
from ...workshop.reading.kept import KeptCut
from ...workshop.records import Cut
from ..formats import NONE, degrees, expanded, fixed, grouped

RIGHT_SHARE = 0.9
"""From this share of its power in the turning mark on, the pickup is right (common practice, no source)."""

MARK_LATE_S = 4.0
"""A spin this old without a turning mark has none (ours)."""

SIGNS = {"pass": "✓", "fail": "✗", "undecided": "?"}
LIVE = ("spinning", "reading")
REMARKS = {"warn": "Look at this", "note": "Noted"}


@dataclass(frozen=True)
class Remark:
    """A finding: its title, what was found, what to do."""

    title: str
    text: str
    remedy: str


@dataclass(frozen=True)
class Stamp:
    """The large word over a finished piece; `look` is its style."""

    look: str
    words: str


@dataclass(frozen=True)
class Worst:
    """The highest vibration against its limit, g; `expanded_g` is the expanded uncertainty."""

    amplitude_g: float
    expanded_g: float
    speed_rpm: float
    limit_g: float


@dataclass(frozen=True)
class Pickup:
    """What the last spin's pickup gave: its level, and the turning mark's share of its power."""

    sign: str
    words: str
    level: float
    mark_share: float


@dataclass(frozen=True)
class Heard:
    """One thing the standing rig says."""

    sign: str
    look: str
    name: str
    text: str


@dataclass(frozen=True)
class GroundForm:
    """What stands in the form for a cut made differently: as typed, else as advised."""

    plane: str = ""
    angle_deg: str = ""
    depth_mm: str = ""


@dataclass(frozen=True)
class Answer:
    """What a cut really was, by a likely explanation: one press amends the record so."""

    words: str
    check: str
    cut_id: str
    plane: str
    angle_deg: str
    depth_mm: str
    never: bool


@dataclass(frozen=True)
class Hand:
    """The dial's live hand in its drawing's units; the rim stands for `rim_g`, `sign` for the way of angles."""

    size: float
    centre: float
    rim: float
    most: float
    rim_g: float
    sign: int


@dataclass(frozen=True)
class CutMade:
    """A cut in the row of what was done; `label` says it to those who cannot see it."""

    id: str
    plane: str
    angle_deg: float
    depth_mm: float
    label: str


@dataclass(frozen=True)
class RunDone:
    """A run in the row of what was done, with the cuts after it."""

    number: int
    amplitude: str
    verdict: str
    sign: str
    cuts: tuple[CutMade, ...]


@dataclass(frozen=True)
class QuestionView:
    """Everything the question's templates say beyond the ledger's own words.

    Attributes
    ----------
    warnings : tuple of str
        Said above the question, except while it spins.
    remarks, blocking : tuple of Remark
        Findings of the last run, those that forbid a cut apart.
    answers : tuple of Answer
        Where the last cut cannot have been what is recorded: what may have been.
    why : str
        Why nothing is to be ground, where no finding of the samples says so.
    each : tuple of str
        What every sensor of the last run says, the one that decides first; empty where there is only one.
    shows_path, explains_dots : bool
        Whether the vector's way from run to run lies on the dial, and is explained below it.
    """

    warnings: tuple[str, ...]
    remarks: tuple[Remark, ...]
    blocking: tuple[Remark, ...]
    build_is_out: bool
    out_of_limit: tuple[str, ...]
    ground: GroundForm
    stamp: Stamp
    worst: Worst | None
    each: tuple[str, ...]
    answers: tuple[Answer, ...]
    why: str
    ready: str
    pickup: Pickup | None
    heard: tuple[Heard, ...]
    listen: str
    hand: Hand
    dial_label: str
    shows_path: bool
    explains_dots: bool
    runs: tuple[RunDone, ...]
    mark_late_s: float = MARK_LATE_S


def question_view(
    question: str,
    story: CartridgeStory,
    advised: Sequence[KeptCut],
    *,
    build: BuildState,
    heard: Sequence[Check],
    warnings: Sequence[str],
    typed: Mapping[str, str],
    rotation: Rotation,
    limit_g: float,
) -> QuestionView:
    """Return what the question's templates show."""
    last = story.last
    said = last.result if last else None
    spinning = question == "spinning"
    findings = said.findings if said and question not in LIVE else ()
    return QuestionView(
        warnings=() if spinning else tuple(warnings),
        remarks=tuple(
            _remark(f)
            for f in findings
            if f.severity != "block" and not (question == "fix" and f.code == "cut.doubtful")
        ),
        blocking=tuple(map(_remark, blocking_of(findings))),
        build_is_out=build.state == "out",
        out_of_limit=tuple(m.words() for m in build.measured if not m.inside),
        ground=_ground(typed, advised),
        stamp=_stamp(said.verdict if said else ""),
        worst=_worst(said.worst) if said and said.worst else None,
        answers=_answers(said.advice.doubts, story) if said and question == "fix" else (),
        why=said.advice.why if said and not said.blocking else "",
        each=_each(said.each, said.sensor) if said and question not in LIVE else (),
        ready=f"Ready for run {last.number + 1}" if last else "First spin",
        pickup=_pickup(said.pickup) if said and said.pickup else None,
        heard=tuple(_heard(c) for c in heard),
        listen="Listen again" if heard else "Listen to the standing rig: sensor, hum, pickup",
        hand=_hand(rotation, limit_g),
        dial_label=_dial_label(advised),
        shows_path=not spinning,
        explains_dots=bool(story.runs) and not spinning,
        runs=tuple(_run(r, story.made) for r in story.runs),
    )


def _remark(finding: Finding) -> Remark:
    return Remark(REMARKS.get(finding.severity, ""), finding.text, finding.do)


def _ground(typed: Mapping[str, str], advised: Sequence[KeptCut]) -> GroundForm:
    first = (
        GroundForm(advised[0].plane, degrees(advised[0].angle_deg), fixed(advised[0].depth_mm))
        if advised
        else GroundForm()
    )
    return GroundForm(
        typed.get("plane") or first.plane,
        typed.get("angle_deg") or first.angle_deg,
        typed.get("depth_mm") or first.depth_mm,
    )


def _stamp(verdict: str) -> Stamp:
    return Stamp("pass", "✓ Passed") if verdict == "pass" else Stamp("fail", "✗ Stop here")


def _worst(worst: limits.Worst) -> Worst:
    return Worst(worst.amplitude_g, expanded(worst.uncertainty_g), worst.speed_rpm, worst.limit_g)


def _answers(doubts: Sequence[Explanation], story: CartridgeStory) -> tuple[Answer, ...]:
    """Return the amendments that one press can make; none where two cuts were made before the run."""
    cuts = [c for c in story.made if c.after_run == story.number - 1]
    if len(cuts) != 1:
        return ()
    cut = cuts[0]
    turned = {"half_a_turn": cut.angle_deg + 180.0, "mirrored": -cut.angle_deg}
    out = []
    for d in doubts[:2]:
        if d.code == "not_made" or d.code in turned:
            angle = turned.get(d.code, cut.angle_deg) % 360.0
            words = in_words(explanation_said(d))
            out.append(
                Answer(
                    words, in_words(check_said(d)), cut.id, cut.plane, degrees(angle),
                    fixed(cut.depth_mm), d.code == "not_made",
                )
            )  # fmt: skip
    return tuple(out)


def _each(each: Sequence[limits.SensorVerdict], deciding: str) -> tuple[str, ...]:
    sign = {"pass": "✓", "fail": "✗", "undecided": "?"}
    return tuple(
        f"{sign[e.verdict]} {e.sensor}: {fixed(e.worst.amplitude_g)} g at "
        f"{grouped(e.worst.speed_rpm)} rpm, limit {fixed(e.worst.limit_g)} g"
        for e in sorted(each, key=lambda e: e.sensor != deciding)
    )


def _pickup(pickup: Sequence[float]) -> Pickup:
    level, share = pickup
    if share > RIGHT_SHARE:
        return Pickup("✓", "magnet and gap are right", level, share)
    return Pickup("?", "magnetise again or close the gap", level, share)


def _heard(check: Check) -> Heard:
    sign = {True: "✓", False: "✗", None: "?"}[check.good]
    return Heard(sign, "bad" if check.good is False else "", check.name, check.text)


def _hand(rotation: Rotation, limit_g: float) -> Hand:
    """The same scale as the dots of the runs: the rim is twice the limit."""
    sign = -1 if rotation == "clockwise" else 1
    return Hand(DIAL_SIZE, DIAL_SIZE / 2, DIAL_SIZE * RIM_SHARE, MOST_REACH, 2 * limit_g, sign)


def _dial_label(advised: Sequence[KeptCut]) -> str:
    cuts = "".join(f"; cut at {degrees(c.angle_deg)} degrees, {c.clock} o’clock" for c in advised)
    return f"The rotor seen from the nut, mark at 12 o’clock{cuts}"


def _run(run: KeptRun, cuts: Sequence[Cut]) -> RunDone:
    worst = run.result.worst
    return RunDone(
        run.number,
        f"{fixed(worst.amplitude_g)} g" if worst else "no curve",
        run.result.verdict,
        SIGNS.get(run.result.verdict, NONE),
        tuple(_cut(c) for c in cuts if c.after_run == run.number),
    )


def _cut(cut: Cut) -> CutMade:
    angle, depth = degrees(cut.angle_deg), fixed(cut.depth_mm)
    label = f"Amend the cut: {cut.plane}, {angle} degrees, {depth} mm"
    return CutMade(cut.id, cut.plane, cut.angle_deg, cut.depth_mm, label)
