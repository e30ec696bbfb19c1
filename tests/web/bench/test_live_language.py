"""What is said while it spins is said in the page's language: the alarm most of all."""

from typing import Any

import pytest

from heavyspot.quantities.said import Said
from heavyspot.web.live import message
from heavyspot.web.speaking import Speaks
from heavyspot.workshop.bench.capture import Snapshot
from heavyspot.workshop.bench.watch import Seen

ALARM = Seen("alarm", Said("bench.alarm.shut_the_air"), Said("bench.alarm.rising"), alarm=True)


def said_to(*, query=b"", headers=()):
    """Return the message's words as a page of that language gets them."""
    heard: list[Any] = []

    async def app(scope, receive, send):
        heard.append(message(Snapshot(seen=ALARM), with_curve=False)["say"])

    async def nothing(*_):
        raise AssertionError

    scope = {
        "type": "websocket",
        "path": "/bench/A/live",
        "query_string": query,
        "headers": list(headers),
    }
    with pytest.raises(StopIteration):  # nothing in it waits
        Speaks(app)(scope, nothing, nothing).send(None)
    return heard[0]["line"], heard[0]["sub"]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({}, ("Shut the air", "Vibration runs away")),
        ({"query": b"speaks=de"}, ("Luft zu", "Die Schwingung läuft davon")),
        ({"headers": [(b"accept-language", b"fr-CA,fr;q=0.9")]}, ("Fermez l’air", "La vibration s’emballe")),
        ({"query": b"speaks=xx"}, ("Shut the air", "Vibration runs away")),
    ],
)  # fmt: skip
def test_the_alarm_speaks_the_pages_language(asked, words):
    assert said_to(**asked) == words
