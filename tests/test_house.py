"""The house itself: what the folders promise a newcomer."""

import ast
import importlib
import pkgutil
import re
from pathlib import Path

import pytest

import heavyspot

SOURCE = Path(heavyspot.__file__).parent
HOUSE = Path(__file__).parents[1]
ROOMS = sorted(
    f"heavyspot.{floor}.{path.parent.name}"
    for floor in ("workshop", "ledger")
    for path in (SOURCE / floor).glob("*/__init__.py")
    if path.parent.name != "migrations"
)


@pytest.mark.parametrize("name", ROOMS)
def test_a_room_offers_what_it_names_and_no_name_of_a_module(name):
    room = importlib.import_module(name)
    inside = {m.name for m in pkgutil.iter_modules(room.__path__)}
    offered = set(getattr(room, "__all__", ()))
    assert not offered & inside  # a module once imported would stand where the verb was
    for each in offered:
        assert getattr(room, each) is not None
    with pytest.raises(AttributeError):
        assert room.no_such_name


def test_no_file_is_longer_than_400_lines():
    long = {
        str(p.relative_to(HOUSE)): n
        for folder in ("src", "tests", "benchmarks", "scripts")
        for p in (HOUSE / folder).rglob("*.py")
        if (n := len(p.read_text().splitlines())) > 400
    }
    assert not long


def test_every_exception_to_a_checker_s_rule_has_its_reason():
    excused = re.compile(r"# (?:type: ignore|noqa)\b")
    given = re.compile(r"# (?:type: ignore\[[\w, -]+\]|noqa: \w+)  # \S")
    bare = [
        f"{p.relative_to(HOUSE)}:{n}"
        for folder in ("src", "tests", "benchmarks")
        for p in (HOUSE / folder).rglob("*.py")
        for n, line in enumerate(p.read_text().splitlines(), start=1)
        if excused.search(line) and not given.search(line) and p != Path(__file__)
    ]
    assert not bare


def test_no_room_has_more_than_15_files():
    full = {
        str(folder.relative_to(HOUSE)): n
        for house in (SOURCE, HOUSE / "tests")
        for folder in house.rglob("*")
        if folder.is_dir()
        and folder.name != "versions"  # what brought a ledger up is never taken away
        if (n := len([p for p in folder.glob("*.py") if p.name != "__init__.py"])) > 15
    }
    assert not full


def test_the_upper_floors_pass_values_not_dicts():
    """Keys read by name from a dict: 1038 before entries became values."""
    read = 0
    for floor in ("sheet", "workshop", "ledger", "web", "cli"):
        for p in (SOURCE / floor).rglob("*.py"):
            if "migrations" not in p.parts:
                read += sum(
                    isinstance(x, ast.Subscript)
                    and isinstance(x.slice, ast.Constant)
                    and isinstance(x.slice.value, str)
                    for x in ast.walk(ast.parse(p.read_text()))
                )
    assert read < 150


def test_every_public_verb_is_a_function_that_takes_an_open_shop():
    """One dialect: ``verb(shop, ...)``; the public page lists them."""
    page = (Path(__file__).parents[1] / "docs/reference/python.md").read_text()
    for name in heavyspot.__all__:
        if name.startswith("__") or name in ("open_recording", "read_recording"):
            continue
        assert re.search(rf"\b{name}\b", page), name


def test_every_public_name_is_where_it_is_said_to_be():
    for name in heavyspot.__all__:
        assert getattr(heavyspot, name) is not None
