"""Who wrote what, for the owner."""

from __future__ import annotations

from fastapi import APIRouter, Depends, Request, Response

from ....workshop.keep.audit import logins, tables, written
from ...access import allowed
from ...deps import Shop
from ...page import page

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/audit")
def audit(request: Request, shop: Shop, by: str = "", table: str = "", before: int = 0) -> Response:
    """The newest entries, and the newest logins."""
    rows, next_ = written(shop, before=max(0, before), by=by[:120], table=table[:40])
    values = {
        "rows": rows, "next": next_, "by": by[:120], "table": table, "tables": tables(),
        "logins": [] if before else logins(shop, 30),
    }  # fmt: skip
    return page(request, "owner/audit.html", values)
