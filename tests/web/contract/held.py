"""A client that holds every answer under /api/v1 against the schema that is given out; used by all tests here."""

from __future__ import annotations

import re
from functools import cache
from typing import Any
from urllib.parse import unquote

import jsonschema
from fastapi.testclient import TestClient
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from heavyspot.web.contract.schema import described


class HeldClient(TestClient):
    """Fails the test that gets an answer which the schema does not know."""

    def request(self, method: str, url: Any, **more: Any) -> Any:
        """Ask, and compare what comes with what the schema says."""
        answer = super().request(method, url, **more)
        refuse_undescribed(self.app, answer)
        return answer


def refuse_undescribed(app: Any, answer: Any) -> None:
    """Raise `AssertionError` where status, kind or shape of an answer are not in the schema."""
    asked = answer.request
    path = unquote(asked.url.raw_path.decode().partition("?")[0])
    found = _call(app, asked.method, path)
    if found is None or answer.is_redirect:
        return
    name, call = found
    said = call["responses"].get(str(answer.status_code))
    if said is None:
        assert answer.status_code >= 400, f"{name}: {answer.status_code} is not described"
        said = call["responses"]["default"]
    kinds = said.get("content", {})
    kind = answer.headers.get("content-type", "").partition(";")[0]
    if not answer.content and (not kinds or "/uploads" in name):
        return  # a part of an upload is answered with headers alone
    if not kinds:
        assert not answer.content, f"{name}: {answer.status_code} is said to have no body"
        return
    assert kind in kinds, f"{name}: {kind} is not described"
    if kind.endswith("json"):
        pointer = f"#{_pointer(call, answer.status_code, kind)}"
        _validator(app, name, pointer).validate(answer.json())


def _pointer(call: dict[str, Any], status: int, kind: str) -> str:
    key = str(status) if str(status) in call["responses"] else "default"
    part = kind.replace("/", "~1")
    return f"/paths/{call['x-place']}/responses/{key}/content/{part}/schema"


PART = re.compile(r"\{(\w+)\}|[^{]+")
WITH_SLASHES = ("serial", "name")


def _any_part(found: re.Match[str]) -> str:
    if not found[1]:
        return re.escape(found[0])
    return "(.+)" if found[1] in WITH_SLASHES else "([^/]+)"


@cache
def _calls(app: Any) -> list[tuple[str, re.Pattern[str], dict[str, Any]]]:
    found = []
    paths: Any = described(app)["paths"]
    for path, item in paths.items():
        pattern = re.compile(PART.sub(_any_part, path))
        for method, call in item.items():
            place = path.replace("~", "~0").replace("/", "~1") + "/" + method
            found.append((f"{method.upper()} {path}", pattern, call | {"x-place": place}))
    return sorted(found, key=lambda f: -len(f[0]))


def _call(app: Any, method: str, path: str) -> tuple[str, dict[str, Any]] | None:
    for name, pattern, call in _calls(app):
        if name.startswith(f"{method} ") and pattern.fullmatch(path):
            return name, call
    return None


@cache
def _validator(app: Any, name: str, pointer: str) -> jsonschema.Draft202012Validator:
    whole = DRAFT202012.create_resource(described(app))
    registry: Any = Registry().with_resource("urn:described", whole)
    return jsonschema.Draft202012Validator({"$ref": f"urn:described{pointer}"}, registry=registry)
