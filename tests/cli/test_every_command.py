"""What holds for every command there is: walked, not listed."""

from typing import Any

import pytest
from cli.test_contract import ROOT, Shell
from typer.main import get_command

from heavyspot.cli.groups import HEADINGS
from heavyspot.cli.main import app

SAYS_NO_DOCUMENT = {
    "serve": "runs until it is stopped",
    "agent": "runs until it is stopped",
    "watch": "runs until it is stopped",
    "demo": "is shown to a person",
    "service install": "prints a unit",
    "service kiosk": "prints an entry",
}
"""Commands without --json, and why."""

NO_LIST = {"service": "there is one"}
"""Nouns without a list, and why."""


def walk(command, path=()):
    """Yield name and command of all that can be called."""
    inside = getattr(command, "commands", None)
    if inside is None:
        yield " ".join(path), command
    else:
        for name, sub in inside.items():
            yield from walk(sub, (*path, name))


ROOT_COMMAND: Any = get_command(app)
COMMANDS = {name: c for name, c in walk(ROOT_COMMAND) if not c.hidden}
NOUNS = {n: c for n, c in ROOT_COMMAND.commands.items() if hasattr(c, "commands")}


@pytest.fixture(scope="module")
def shell(tmp_path_factory):
    """A shop with one of everything that can be listed."""
    made = Shell(tmp_path_factory.mktemp("every"))
    made.run("examples", ".")
    made.run("model", "add", "larch52.toml")
    made.run("piece", "new", "--serial", "L1", "--model", "Larch 52")
    made.run("rotor", "model", "larch52-wheel.toml")
    made.run("rotor", "new", "--serial", "W1", "--rotor", "Larch 52 shaft and wheel")
    made.run("rig", "add", "north", "--due", "2031-01-01")
    return made


@pytest.mark.parametrize("name", COMMANDS)
def test_each_has_help_and_json(name):
    command = COMMANDS[name]
    assert command.help and command.help.strip()
    options = {o for p in command.params for o in p.opts}
    assert ("--json" in options) != (name in SAYS_NO_DOCUMENT)
    for p in command.params:
        assert getattr(p, "help", "") or p.name == "context", f"{name}: {p.name} says nothing"


@pytest.mark.parametrize("name", COMMANDS)
def test_each_shows_its_help_and_refuses_what_it_does_not_know(shell, name):
    assert f"Usage: heavyspot {name}" in shell.run(*name.split(), "-h").stdout
    if name != "service install":  # what it does not know it hands on to serve
        done = shell.run(*name.split(), "--no-such-option", code=2)
        assert done.stdout == "" and "Traceback" not in done.stderr


@pytest.mark.parametrize("noun", [n for n in NOUNS if n not in NO_LIST])
def test_each_noun_has_a_list(shell, noun):
    assert "list" in NOUNS[noun].commands
    assert isinstance(shell.json(noun, "list"), list)
    shell.run(noun, "list")


def test_lists_say_what_is_there(shell):
    assert shell.json("rig", "list") == [
        {"rig": "north", "kind": "high-speed rig", "due": "2031-01-01"}
    ]
    assert shell.json("rotor", "list", "--kinds") == ["Larch 52 shaft and wheel"]
    assert [r["serial"] for r in shell.json("rotor", "list")] == ["W1"]
    assert "W1" in shell.run("rotor", "list").stdout
    shell.run("flow", "bench", "blower", "element=venturi", code=2)  # half a bench is none
    assert shell.json("machine", "list") == [] == shell.json("flow", "list")


def test_every_command_stands_under_a_heading_once():
    under = [n for names in HEADINGS.values() for n in names]
    assert len(under) == len(set(under))
    assert set(under) == {n for n, c in ROOT_COMMAND.commands.items() if not c.hidden}


def test_help_is_in_groups(shell):
    said = shell.run("-h").stdout
    at = [said.index(f"{heading}:\n") for heading in HEADINGS]
    assert at == sorted(at) and "More:" not in said
    assert said.index("  spin ") < said.index("  backup ") < said.index("  demo ")


def test_what_is_done_is_one_document(shell):
    (shell.folder / "made").mkdir()
    told = shell.json("simulate", "made/s.wav")
    assert told["file"] == "made/s.wav" and told["sidecar"] == "made/s.json"
    assert shell.json("convert", "made/s.wav", "made/s.flac")["file"] == "made/s.flac"
    assert "samples" in shell.run("convert", "made/s.wav", "-", "--json", code=2).stderr
    assert shell.json("label", "L1", "-o", "made/l.pdf") == {"labels": 1, "file": "made/l.pdf"}
    assert shell.json("rig", "add", "south") == {"rig": "south"}
    assert len(shell.json("examples", "made/all")["files"]) == 10
    assert shell.json("station", "heads") == []


def test_the_reference_is_made_of_what_the_commands_say():
    text = (ROOT / "docs/reference/cli.md").read_text(encoding="utf-8")
    for name in COMMANDS:
        assert f"heavyspot {name}" in text, name
