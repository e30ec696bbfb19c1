"""What the codes of refusals mean: where the `type` of each problem leads."""

from __future__ import annotations

from fastapi import APIRouter, Depends

from ...quantities.errors import NotThere
from ..access import allowed
from ..answers.common import told
from ..answers.other import CodeTold
from ..deps import REFUSALS
from .problem import CODES, HOME

router = APIRouter(prefix=HOME, tags=["about"], responses=REFUSALS, dependencies=[Depends(allowed)])


@router.get("/problems", response_model=None, responses=told(list[CodeTold]))
def list_problems() -> list[dict[str, str]]:
    """Return every code with what it means."""
    return [{"code": c, "title": t} for c, t in CODES.items()]


@router.get("/problems/{code}", response_model=None, responses=told(CodeTold))
def get_problem(code: str) -> dict[str, str]:
    """Return what a code means."""
    if code not in CODES:
        raise NotThere("There is no such code.", remedy=f"{HOME}/problems has them all.")
    return {"code": code, "title": CODES[code]}
