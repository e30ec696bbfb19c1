"""Stations speak the interface with a version; one of before, and a main house of before, are told what is so."""

import pytest
from fastapi import FastAPI
from workshop.station.two_houses import CutLine, spun

from heavyspot.quantities.errors import SourceLost
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.station.heads import asked_back
from heavyspot.workshop.station.station import exchange, join, proof_of_arrival, standing

NOW, BEFORE = "/api/v1/exchange", "/api/exchange"


class LineOfBefore(CutLine):
    """A station that does not know of the version yet; keeps each answer's headers."""

    def __init__(self, app, key):
        super().__init__(app, key)
        self.marked: set[bool] = set()
        self.client.event_hooks["response"].append(
            lambda answer: self.marked.add("Deprecation" in answer.headers)
        )

    def send(self, method, path, body=b"", kind="application/json"):
        assert path.startswith(NOW)
        return super().send(method, BEFORE + path.removeprefix(NOW), body, kind)


def whole_exchange(houses, line):
    """Every address there is: entries and files both ways, heads, and the proof."""
    spun(houses.east, "E-1")
    told = exchange(houses.east, line)
    assert told.files == 1 and told.sent > 0 and not told.missing
    assert cartridge_story(houses.main, "E-1").number == 1
    assert proof_of_arrival(houses.east, line).number == houses.east.book.head()[0]
    assert asked_back(houses.east, line)


def test_a_station_speaks_to_the_version_alone(houses):
    whole_exchange(houses, houses.line)
    spoken = {path.partition("?")[0] for _, path in houses.line.log}
    assert all(path == NOW or path.startswith(f"{NOW}/") for path in spoken)
    kinds = {path.removeprefix(NOW).strip("/").partition("/")[0] for path in spoken}
    assert kinds == {"", "cursor", "entries", "files", "head", "heads", "proof"}


def test_a_station_of_before_is_answered_at_the_old_addresses(houses):
    line = LineOfBefore(houses.app, houses.key)
    whole_exchange(houses, line)
    assert all(path.startswith(BEFORE) for _, path in line.log)
    assert line.marked == {True}  # each answer says that the address is going


def test_a_main_house_of_before_is_to_be_brought_up_to_date_and_nothing_is_lost(houses, tmp_path):
    before = CutLine(FastAPI(), houses.key)  # it knows none of the addresses
    spun(houses.east, "E-1")
    with pytest.raises(SourceLost, match="earlier version") as told:
        exchange(houses.east, before)
    assert "kept here" in told.value.remedy
    waiting = standing(houses.east)
    assert waiting is not None and waiting.waiting > 0
    exchange(houses.east, houses.line)
    assert cartridge_story(houses.main, "E-1").number == 1
    with pytest.raises(SourceLost, match="earlier version"):
        join(tmp_path / "west", before, "http://main", houses.key)
    assert not (tmp_path / "west").exists()
