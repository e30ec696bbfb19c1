"""The agents of rigs that are captured beside the rig: what each says of itself and its spin, and is told."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Depends
from pydantic import Field

from ...sources.devices.slow import Quantity
from ...workshop.bench.remote import AgentSays
from ...workshop.bench.remote_spin import Streamed
from ...workshop.taking.following import Figures
from ..access import allowed
from ..answers.common import told
from ..answers.other import AgentTold
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Line, Number, TheBenches, Word, example

router = APIRouter(prefix=HOME, tags=["bench"], responses=REFUSALS, dependencies=[Depends(allowed)])


class AgentIn(BodyIn):
    """What an agent says: the piece that spins, how many spins wait on its disk, what is wrong, what was typed.

    `agent` is its own name for itself, kept on its disk: a second agent for the rig is refused. `slow` is what its
    slow channels measure now, °C, kPa, rpm; null where an instrument is silent.
    """

    model_config = example(
        spins="L52-0001", waiting=0, words="", typed="", agent="far-1", slow={"oil temperature": 68.5}
    )  # fmt: skip

    spins: Word = ""
    waiting: Annotated[int, Field(ge=0, le=1_000_000)] = 0
    words: Line = ""
    typed: Word = ""
    agent: Word = ""
    slow: dict[Quantity, Number | None] = Field(default_factory=dict)


class FiguresIn(BodyIn):
    """What the spin shows at a moment; null while there is no trusted speed. Times are of the agent's own clock."""

    time_s: Number
    sampled_at_s: Number
    speed_rpm: Number | None = None
    amplitude_g: Number | None = None
    angle_deg: Number | None = None
    overall_g: Number | None = None
    pickup: Number = 0.0
    trusted: Annotated[Number, Field(ge=0, le=1)] = 0.0

    def figures(self) -> Figures:
        """Return them as they are reckoned with."""
        return Figures(
            **{k: float("nan") if v is None else v for k, v in self.model_dump().items()}
        )


class StreamIn(BodyIn):
    """The spin that an agent captures: figures that did not arrive yet, oldest first, and the curve so far.

    `curve` has speed and amplitude of each point; `up` has speed and the first sensor's vector, real and imaginary,
    of the way up.
    """

    model_config = example(
        agent="far-1", spin="019f", serial="L52-0001", said_at_s=100.2, lost=0, ended=False,
        figures=[{"time_s": 3.2, "sampled_at_s": 100.1, "speed_rpm": 61_000.0, "amplitude_g": 0.2}],
        curve=[[60_000.0, 0.19]], up=[[60_000.0, 0.1, 0.16]],
    )  # fmt: skip

    agent: Word = ""
    spin: Annotated[str, Field(min_length=1, max_length=120)]
    serial: Annotated[str, Field(min_length=1, max_length=120)]
    said_at_s: Number
    lost: Annotated[int, Field(ge=0)] = 0
    ended: bool = False
    figures: Annotated[tuple[FiguresIn, ...], Field(max_length=1000)] = ()
    curve: Annotated[tuple[tuple[Number, Number], ...], Field(max_length=10_000)] = ()
    up: Annotated[tuple[tuple[Number, Number, Number], ...], Field(max_length=10_000)] = ()

    def said(self) -> Streamed:
        """Return it as it is reckoned with."""
        curve = np.array(self.curve, float).reshape(-1, 2).T
        up = np.array(self.up, float).reshape(-1, 3).T
        return Streamed(
            self.spin, self.serial, self.said_at_s, tuple(f.figures() for f in self.figures),
            self.lost, self.ended, curve, up[0], up[1] + 1j * up[2],
        )  # fmt: skip


@router.post("/agents/{rig:path}/spin", status_code=204)
def stream_spin(rig: str, spin: StreamIn, benches: TheBenches) -> None:
    """Take the figures of the spin that a rig's agent captures, for the rig's bench to show."""
    benches.stream(rig, spin.said(), spin.agent)


@router.post("/agents/{rig:path}", response_model=None, responses=told(AgentTold))
def hear_agent(rig: str, agent: AgentIn, benches: TheBenches) -> dict[str, object]:
    """Take what a rig's agent says of itself; returns what is on the rig, and this server's clock."""
    said = AgentSays(
        agent.spins, agent.waiting, agent.words, {str(q): v for q, v in agent.slow.items()}
    )
    on_it, refused = benches.hear(rig, said, agent.typed.strip(), agent.agent)
    return {"on_it": on_it, "refused": refused, "now": datetime.now(UTC).isoformat()}


@router.delete("/agents/{rig:path}", status_code=204)
def forget_agent(rig: str, benches: TheBenches) -> None:
    """Forget a rig's agent that is used no more."""
    benches.forget(rig)
