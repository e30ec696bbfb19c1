"""The documents' own commands run as they are written; those that need another machine are parsed at least."""

import contextlib
import io
import re
import shlex
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
import xlsxwriter
from conftest import there
from typer.main import get_command

from heavyspot import Workshop, open_recording, write_recording
from heavyspot.cli.main import app, main
from heavyspot.workshop.cartridge.story import cartridge_story

ROOT = Path(__file__).parents[2]
GUIDES = sorted((ROOT / "docs/guides").glob("*.md"))
PAGES = [ROOT / "README.md", ROOT / "docs/quick-start.md", *GUIDES]

BLOCK = re.compile(r"^```(\w*)\n(.*?)^```", re.S | re.M)
INLINE = re.compile(r"`(?:\.venv/bin/)?(heavyspot [^`]*)`")

ONLY_PARSED = {
    "station join": "another building's server",
    " serve": "runs until it is stopped",
    "heavyspot watch": "runs until it is stopped",
    "heavyspot agent": "runs until it is stopped",
    "user key Ida": "a user of the shop's own",
    "move data": "a PostgreSQL server",
    "model card": "eight units whose cuts taught something",
    "take-card": "another shop's card",
    "drop-card": "another shop's card",
    "reread": "the identifier of a selection, and a rig that measured wrong",
    "...": "stands for more",
}
"""Commands in blocks that a test cannot run, and what they need."""

STANDS_FOR = {
    "/mnt/backup/shop": "backup-shop",
    "/srv/east": "east",
    "DIR": "data",
    "sheet.pdf": "L52-0001.pdf",
}
"""What another shop has, and what the shop of this test has in its place."""


@dataclass(frozen=True)
class Written:
    page: str
    line: str


def blocks(page, *, kinds=("", "sh")):
    return [m[2] for m in BLOCK.finditer(page.read_text()) if m[1] in kinds]


def commands(page):
    """Return the program's command lines of a page's blocks, without remarks."""
    lines = [line for block in blocks(page) for line in block.splitlines()]
    found = [re.sub(r"\s{2,}#.*", "", line).removeprefix("$ ").removeprefix(".venv/bin/") for line in lines]
    return [line for line in found if line.startswith("heavyspot ")]


def spans(page):
    return [" ".join(m[1].split()) for m in INLINE.finditer(BLOCK.sub("", page.read_text()))]


def run(folder, line):
    """Run a command line as its shell would, in this process; return what it printed."""
    number = folder / "number"
    stands_for = STANDS_FOR | ({"2026-00012": number.read_text()} if number.exists() else {})
    words = [stands_for.get(w, w) for w in shlex.split(line)]
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        patch.object(sys, "argv", words),
        patch("getpass.getpass", return_value="a long enough password"),
        pytest.raises(SystemExit) as ended,
    ):
        main()
    return ended.value.code, out.getvalue() + err.getvalue()


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """A folder in which the README's commands were run, as written."""
    folder = tmp_path_factory.mktemp("told")
    shutil.copytree(ROOT / "docs/examples", folder / "docs/examples")
    for line in commands(ROOT / "README.md"):
        code, said = run(folder, line)
        assert code == 0, f"{line}\n{said}"
        if sheet := re.match(r"Sheet (\S+) .*L52", said):
            (folder / "number").write_text(sheet[1])
    return folder


def test_the_readme_balances_a_cartridge_and_a_rotor(told):
    with Workshop(told / "data") as shop:
        story = cartridge_story(shop, "L52-0001")
        assert [r.entry.verdict for r in story.runs] == ["fail", "fail", "pass"]
    assert (told / "L52-0001.pdf").stat().st_size > 10_000 and (told / "W-1.pdf").exists()


def test_the_readme_advises_the_cuts_it_writes_down(told):
    """The angle of each cut in the README is what the program asked for, within 10 degrees."""
    written = [float(a) for a in re.findall(r"ground L52-0001 .*--angle (\d+)", (ROOT / "README.md").read_text())]
    with Workshop(told / "data") as shop:
        piece = cartridge_story(shop, "L52-0001").piece
        asked = [c.angle_deg for c in shop.book.cartridges.cuts(piece.id, "asked")]
    assert len(written) == len(asked) == 2
    assert all(abs((w - a + 180) % 360 - 180) <= 10 for w, a in zip(written, asked, strict=True))


def test_the_readmes_python_runs(told):
    (code,) = blocks(ROOT / "README.md", kinds=("python",))
    with contextlib.chdir(told), contextlib.redirect_stdout(io.StringIO()) as said:
        exec(compile(code, "README.md", "exec"), {})
    assert said.getvalue().startswith("pass ")


@pytest.mark.parametrize("name", ["write-a-reader", "write-a-driver"])
def test_the_python_of_the_guides_is_whole(name):
    for code in blocks(ROOT / f"docs/guides/{name}.md", kinds=("python",)):
        space: dict[str, object] = {}
        exec(compile(code, name, "exec"), space)
        assert any(isinstance(v, type) and v.__module__ == "builtins" for v in space.values())


@pytest.fixture
def shop(told, tmp_path):
    """A copy of that folder, with the files the guides speak of."""
    folder = tmp_path / "shop"
    shutil.copytree(told, folder)
    for stale in folder.glob("spin?.*"):
        stale.unlink()
    (folder / "export.csv").write_text("60000;0,12;35\n90000;0,31;80\n150000;0,28;120\n")
    with xlsxwriter.Workbook(folder / "old-book.xlsx") as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["Serial", "Customer", "Date", "Note", "Unit no"])
        sheet.write_row(1, 0, ["OLD-1", "Tidal Haulage", "2019-05-14", "nut", "U-1"])
    return folder


@pytest.mark.parametrize("page", [p for p in GUIDES if commands(p)], ids=lambda p: p.stem)
def test_every_command_of_a_guides_blocks_runs(shop, page):
    ran = 0
    for line in commands(page):
        if any(part in line for part in ONLY_PARSED):
            parse(line)
            continue
        code, said = run(shop, line)
        assert code == 0, f"{line}\n{said}"
        ran += 1
    assert ran or all(any(part in c for part in ONLY_PARSED) for c in commands(page))


RECORDING_GUIDE = [
    line
    for line in spans(ROOT / "docs/guides/bring-a-recording.md")
    if not any(part in line for part in ONLY_PARSED)
]


@pytest.mark.parametrize("line", RECORDING_GUIDE)
def test_the_commands_of_the_recording_guide_run(told, shop, line):
    if "spin1.uff" in line:
        write_recording(open_recording(told / "spin1.wav"), shop / "spin1.uff")
        (shop / "spin1.json").unlink()  # another program's file has none
    else:
        run(shop, "heavyspot simulate spin1.wav --unit 4")
    code, said = run(shop, line)
    assert code == 0, f"{line}\n{said}"


def parse(line):
    """Find the command and its options, as the program does before it runs; placeholders may stand for values."""
    own = line.split(" > ")[0].split(" -- ")[0]  # what stands behind it is another command's
    words = [w for w in shlex.split(own)[1:] if w not in ("...", "\u2026")]
    at: Any = get_command(app)
    while words and hasattr(at, "commands"):
        words = words[2:] if words[0] == "--data" else words
        if words[0].startswith("--"):
            break
        at = there(at.commands.get(words.pop(0)))
    known = {o for p in at.params for o in (*p.opts, *p.secondary_opts)}
    stated = {w.partition("=")[0] for w in words if w.startswith("-") and len(w) > 1 and not w[1].isdigit()}
    assert stated <= known | {"--help"}, f"{line}: {stated - known}"


@pytest.mark.parametrize(
    "written",
    [Written(p.stem, s) for p in PAGES for s in (*spans(p), *commands(p))],
    ids=lambda w: f"{w.page}: {w.line[:60]}",
)
def test_every_command_that_is_named_is_one(written):
    parse(written.line)


def test_a_command_that_is_none_is_found():
    for bad in ("heavyspot spinn S", "heavyspot read x.wav --loud"):
        with pytest.raises(AssertionError):
            parse(bad)
