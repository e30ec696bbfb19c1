"""The description for programs (OpenAPI): what each call is named, grouped under, and refused with."""

from __future__ import annotations

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from ..roles import ACCESS, ANYONE, STATION
from .problem import MEDIA

ABOUT = (
    "The balancing room for programs. It advises and keeps the record; it is never an interlock. "
    "Refusals have the shape of RFC 9457. A write with the header `Idempotency-Key` is done once. "
    "Lists are pages: `next` is given again as `cursor`."
)

TAGS = {
    "jobs": "Jobs and their pieces.",
    "pieces": "A piece: its story, build record, parts and papers.",
    "cartridges": "Runs, cuts and verdicts of a cartridge on the high-speed rig.",
    "runs": "A closer look at one run.",
    "recordings": "Bringing recordings and tables.",
    "bench": "The rig that spins: what to do now.",
    "rotors": "Loose rotors, and the low-speed machines.",
    "flow": "Flow tests.",
    "sheets": "Sheets and labels.",
    "models": "Models, kinds of rotor and rigs.",
    "people": "Users and keys.",
    "hooks": "Telling other programs of verdicts and findings.",
    "stations": "The exchange between buildings; the program speaks it with itself.",
    "about": "What this interface is.",
}

SECURITY = {
    "key": {"type": "http", "scheme": "bearer", "description": "A person's key for a program."},
    "login": {"type": "apiKey", "in": "cookie", "name": "heavyspot"},
    "station": {"type": "apiKey", "in": "header", "name": "X-Station-Key"},
}
ONCE = {
    "name": "Idempotency-Key", "in": "header", "required": False,
    "description": "One to 200 letters, a UUID will do: the write is done once, however often it is sent.",
    "schema": {"type": "string", "maxLength": 200},
}  # fmt: skip


def described(app: FastAPI) -> dict[str, object]:
    """Return the description of an application; made once."""
    if app.openapi_schema is None:
        made = get_openapi(
            title="Heavyspot", version=app.version, description=ABOUT, routes=app.routes,
            tags=[{"name": n, "description": d} for n, d in TAGS.items()],
        )  # fmt: skip
        made.setdefault("components", {}).update(securitySchemes=SECURITY)
        for name, shape in made.get("components", {}).get("schemas", {}).items():
            if name.startswith("Body_"):
                _mark_files(shape)
        for path, item in made.get("paths", {}).items():
            for method, call in item.items():
                role = _role(path, method)
                call.update(security=_asked_of(role))
                if method != "get" and role != STATION:
                    call.setdefault("parameters", []).append(ONCE)
                for status, answer in call.get("responses", {}).items():
                    body = answer.get("content", {}).get("application/json")
                    if body and not status.startswith("2"):
                        answer.update(content={MEDIA: body})
        app.openapi_schema = made
    return app.openapi_schema


def _mark_files(shape: dict[str, object]) -> None:
    """Say of a form's files that they are bytes the way that makers of clients know, too."""
    if shape.pop("contentMediaType", None):
        shape.update(format="binary")
    for within in shape.values():
        for part in within if isinstance(within, list) else [within]:
            if isinstance(part, dict):
                _mark_files(part)


def _asked_of(role: str) -> list[dict[str, list[str]]]:
    """Return what shows who asks; nothing does where no accounts are needed."""
    if role == STATION:
        return [{"station": []}]
    return [] if role == ANYONE else [{"key": []}, {"login": []}, {}]


def _role(path: str, method: str) -> str:
    asked = f"{method.upper()} {path}"
    return next(role for key, role in ACCESS.items() if key.replace(":path}", "}") == asked)
