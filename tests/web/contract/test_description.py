"""The description for programs: every call named, grouped, explained, exampled and typed."""

import re

import pytest
from fastapi.testclient import TestClient

from heavyspot.web.contract.schema import TAGS
from heavyspot.web.deps import BodyIn


@pytest.fixture(scope="module")
def described(client):
    return client.get("/api/v1/openapi.json").json()


@pytest.fixture(scope="module")
def calls(described):
    return {f"{m} {p}": c for p, item in described["paths"].items() for m, c in item.items()}


def test_every_call_has_a_name_of_its_own_a_group_and_words(calls):
    names = [c["operationId"] for c in calls.values()]
    assert len(names) == len(set(names)) > 80
    assert all(re.fullmatch(r"[a-z]+(_[a-z]+)*", n) for n in names)
    assert {t for c in calls.values() for t in c["tags"]} <= set(TAGS)
    assert all(c["tags"] and c["summary"] and c["description"] for c in calls.values())


def test_every_good_answer_has_a_shape_and_every_refusal_the_one(calls):
    for name, call in calls.items():
        good = {s: a for s, a in call["responses"].items() if s.startswith("2")}
        assert good, name
        for status, answer in good.items():
            for kind, body in answer.get("content", {}).items():
                assert body["schema"], (name, status, kind)
                if "dict" not in str(body):
                    assert {"$ref", "items", "type"} & set(body["schema"]), (name, status)
        for status in set(call["responses"]) - set(good):
            (kind,) = call["responses"][status]["content"]
            assert kind == "application/problem+json", (name, status)


def test_every_body_shows_an_example_that_it_takes():
    kinds = [
        k
        for k in all_of(BodyIn)
        if k.__name__ not in ("MemberIn", "PartIn", "SensorIn", "FiguresIn")
    ]
    assert len(kinds) > 20
    for kind in kinds:
        (shown,) = kind.model_config["json_schema_extra"]["examples"]
        assert kind.model_validate(shown)


def all_of(kind):
    for under in kind.__subclasses__():
        yield under
        yield from all_of(under)


def test_the_client_that_holds_answers_against_it_notices(client, monkeypatch):
    """A check that cannot fail shows nothing."""
    monkeypatch.setattr(TestClient, "request", lambda *_, **__: Wrong(client))
    with pytest.raises(Exception, match="required property"):
        client.get("/api/v1/gains")


class Wrong:
    """An answer without what the schema asks for."""

    status_code, content, is_redirect = 200, b"{}", False

    def __init__(self, client):
        self.headers = {"content-type": "application/json"}
        self.request = client.build_request("GET", "http://127.0.0.1/api/v1/gains")

    def json(self):
        return {}
