"""Refusals to programs in one shape, `application/problem+json` (RFC 9457), and every code there is.

`type` leads to what the code means, on this server itself, so that it can be read without a network.
"""

from __future__ import annotations

from http import HTTPStatus

from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field
from starlette.types import Scope

from ...quantities.errors import HeavyspotError, code_of, status_of

MEDIA = "application/problem+json"
HOME = "/api/v1"
OLD_HOME = "/api"
"""Where the same was before it had a version; `alias` leads from there."""

OLD_ADDRESS = "heavyspot.old_address"
"""Of a request's scope: it came by the address without a version."""

CODES: dict[str, str] = {
    "bad-input": "A number, name or file content that cannot be used.",
    "unreadable-file": "A recording or model file that cannot be read.",
    "signal-too-poor": "A recording that reads, but from which nothing can be measured.",
    "source-lost": "A device that is not there, or went away.",
    "not-installed": "A library that is no part of the program is asked for and not installed.",
    "not-allowed": "The role or the key's scope is not enough, or a form is from an older login.",
    "not-logged-in": "Nobody is logged in, or the key is nobody's.",
    "not-there": "What was asked for is not in the ledger.",
    "taken": "A serial, name or place that something else has.",
    "done-before": "It was done before under the same key.",
    "old-ledger": "The ledger was made by an earlier program and is to be brought up to date first.",
    "stale": "Somebody changed it since it was looked at.",
    "ledger-fault": "The ledger refuses.",
    "ledger-away": "The ledger cannot be reached or written: full disk, database gone.",
    "refused": "The program refuses; the detail says why.",
    "invalid-request": "A body, a header or a part of the address has not the shape the schema says; see errors.",
    "bad-request": "The request cannot be understood at all.",
    "no-such-address": "There is nothing at this address.",
    "no-such-method": "The address is there, but not with this method; the header Allow names those that are.",
    "wrong-offset": "A part of an upload does not begin where the last one ended; Upload-Offset says where.",
    "line-cut": "The line was cut before all had come.",
    "too-large": "More bytes than this address takes.",
    "too-many-requests": "Asked too often; the header Retry-After says when again.",
    "other-site": "The request was sent by another site's page.",
    "wrong-host": "Without accounts this server answers to this computer's own names only, and to no proxy.",
    "program-fault": "The program made a mistake; the request id leads to it in the log.",
}
"""Every code, and what it means."""

BY_STATUS = {
    400: "bad-request",
    404: "no-such-address",
    405: "no-such-method",
    408: "line-cut",
    413: "too-large",
    429: "too-many-requests",
}
"""What the framework itself refuses with."""


class Wrong(BaseModel):
    """One thing that is wrong with a request.

    Attributes
    ----------
    place : str
        Where it stands, as ``body.angle_deg``.
    message : str
    """

    place: str
    message: str


class Problem(BaseModel):
    """A refusal (RFC 9457).

    Attributes
    ----------
    type : str
        Address at which the code is explained.
    title : str
        What the code means, the same each time.
    status : int
    detail : str
        What is wrong this time.
    instance : str
        The address that was asked.
    code : str
        The word that programs decide by.
    remedy : str
        What to do about it.
    errors : list
        Every thing that is wrong with the request's shape.
    """

    model_config = ConfigDict(extra="allow")
    type: str = Field(examples=["/api/v1/problems/taken"])
    title: str = Field(examples=[CODES["taken"]])
    status: int = Field(examples=[409])
    detail: str = Field(examples=['A piece with serial "L52-0001" is there already.'])
    instance: str = Field(examples=["/api/v1/pieces"])
    code: str = Field(examples=["taken"])
    remedy: str = Field("", examples=["Go on with that piece, or give this one another serial."])
    errors: list[Wrong] = Field(default_factory=list)


def for_programs(scope: Scope) -> bool:
    """Whether a request asks for JSON: its refusals are problems, not pages."""
    path = str(scope.get("path", ""))
    return path == OLD_HOME or path.startswith(OLD_HOME + "/")


def problem(
    scope: Scope,
    status: int,
    code: str,
    detail: str,
    remedy: str = "",
    *,
    headers: dict[str, str] | None = None,
    **more: object,
) -> JSONResponse:
    """Return a refusal; `more` are further members, as RFC 9457 allows (section 3.2)."""
    said: dict[str, object] = {
        "type": f"{HOME}/problems/{code}",
        "title": CODES[code],
        "status": status,
        "detail": _sound(detail),
        "instance": _sound(str(scope.get("path", ""))),
        "code": code,
        "remedy": _sound(remedy),
        "errors": [],
    }
    if OLD_ADDRESS in scope:
        said["error"] = said["detail"]  # as it was before problems had their shape
    return JSONResponse(said | more, status, headers, media_type=MEDIA)


def refusal(scope: Scope, fault: HeavyspotError) -> JSONResponse:
    """Return one of our own errors as a problem."""
    return problem(scope, status_of(fault), code_of(fault), fault.message, fault.remedy)


def by_status(scope: Scope, status: int, headers: dict[str, str] | None = None) -> JSONResponse:
    """Return what the framework refuses by its status alone."""
    code = BY_STATUS.get(status, "refused")
    return problem(scope, status, code, f"{HTTPStatus(status).phrase}.", headers=headers)


def _sound(text: str) -> str:
    """Return text without what UTF-8 cannot hold."""
    return text.encode(errors="replace").decode()
