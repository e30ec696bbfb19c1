"""The agents of rigs that are captured beside the rig: what each says of itself, and what it is told."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import Field

from ...workshop.bench.remote import AgentSays
from ..access import allowed
from ..answers.common import told
from ..answers.other import AgentTold
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Line, TheBenches, Word, example

router = APIRouter(prefix=HOME, tags=["bench"], responses=REFUSALS, dependencies=[Depends(allowed)])


class AgentIn(BodyIn):
    """What an agent says: the piece that spins, how many spins wait on its disk, what is wrong, what was typed."""

    model_config = example(spins="L52-0001", waiting=0, words="", typed="")

    spins: Word = ""
    waiting: Annotated[int, Field(ge=0, le=1_000_000)] = 0
    words: Line = ""
    typed: Word = ""


@router.post("/agents/{rig:path}", response_model=None, responses=told(AgentTold))
def hear_agent(rig: str, agent: AgentIn, benches: TheBenches) -> dict[str, object]:
    """Take what a rig's agent says of itself; returns what is on the rig, and this server's clock."""
    said = AgentSays(agent.spins, agent.waiting, agent.words)
    on_it, refused = benches.hear(rig, said, agent.typed.strip())
    return {"on_it": on_it, "refused": refused, "now": datetime.now(UTC).isoformat()}


@router.delete("/agents/{rig:path}", status_code=204)
def forget_agent(rig: str, benches: TheBenches) -> None:
    """Forget a rig's agent that is used no more."""
    benches.forget(rig)
