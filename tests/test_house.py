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


SYSTEMS = ("quantities/durable.py", "quantities/private.py", "quantities/file_lock.py")
"""The only files that know one operating system from another, sync, rename and remove."""


def told_to_the_system(tree):
    """Yield the line of everything that each system does otherwise."""
    for x in ast.walk(tree):
        if isinstance(x, ast.Import | ast.ImportFrom):
            if {a.name for a in x.names} & {"fcntl", "msvcrt", "pwd", "grp", "termios"}:
                yield x.lineno
        elif isinstance(x, ast.Attribute) and ast.unparse(x) in ("os.name", "sys.platform"):
            yield x.lineno
        elif isinstance(x, ast.Call) and isinstance(x.func, ast.Attribute):
            name, owner = x.func.attr, ast.unparse(x.func.value)
            words_apart = name == "replace" and (len(x.args) != 1 or x.keywords)
            if owner == "os" and name in ("open", "fsync", "rename", "replace", "remove", "kill"):
                yield x.lineno
            elif owner == "durable" or words_apart:
                continue
            elif name in ("unlink", "rmdir", "rename", "rmtree", "replace"):
                yield x.lineno


def test_only_three_files_sync_rename_and_remove():
    """Each system wants it otherwise: what is not sent through the one helper works on one of them only."""
    found = {
        f"{rel}:{line}"
        for p in SOURCE.rglob("*.py")
        if (rel := p.relative_to(SOURCE).as_posix()) not in SYSTEMS and "migrations" not in p.parts
        for line in told_to_the_system(ast.parse(p.read_text()))
    }
    assert not found
    wrong = "import fcntl\nos.fsync(f)\np.replace(q)\np.unlink()\nif os.name == 'nt': pass"
    assert sorted(told_to_the_system(ast.parse(wrong))) == [1, 2, 3, 4, 5]


def text_without_its_letters(tree):
    """Yield the line of every text file that is read or written in whatever code page the system has."""
    for x in ast.walk(tree):
        if not isinstance(x, ast.Call):
            continue
        named = {k.arg for k in x.keywords}
        given = [
            a.value for a in x.args if isinstance(a, ast.Constant) and isinstance(a.value, str)
        ]
        if ast.unparse(x.func).endswith((".read_text", ".write_text")):
            if (
                not named & {"encoding", None}
                and not given
                and ast.unparse(x.func) != "durable.write_text"
            ):
                yield x.lineno
        elif (
            ast.unparse(x.func).endswith("open")
            and set(given) & {"r", "w", "a", "x", "rt", "wt"}
            and "encoding" not in named
        ):
            yield x.lineno


def test_no_text_file_is_read_or_written_in_the_system_s_code_page():
    found = {
        f"{p.relative_to(SOURCE).as_posix()}:{line}"
        for p in SOURCE.rglob("*.py")
        for line in text_without_its_letters(ast.parse(p.read_text(encoding="utf-8")))
    }
    assert not found
