"""The program as a wheel brings it, without its parts: it reads, advises, judges, keeps, and names what lacks."""

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PARTS = ("typst", "pyhanko", "segno", "duckdb", "h5py", "babel", "s3fs", "distributed", "psycopg")
RUN = f"""
import sys
sys.modules.update(dict.fromkeys({PARTS!r}))
from heavyspot.__main__ import run
run()
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """The wheel, made here and unpacked: what is in it and nothing of the house around it."""
    folder = tmp_path_factory.mktemp("wheel")
    made = "from hatchling.builders.wheel import WheelBuilder as W"
    made += "; print(next(W(sys.argv[1]).build(directory=sys.argv[2])))"
    done = subprocess.run(
        [sys.executable, "-c", f"import sys; {made}", str(ROOT), str(folder)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    with zipfile.ZipFile(done.stdout.splitlines()[-1]) as file:
        file.extractall(folder / "there")
    return folder / "there"


class Small:
    """The command from the wheel, each time in a process of its own, in a folder of its own."""

    def __init__(self, wheel, folder):
        self.wheel, self.folder = wheel, folder

    def run(self, *words, code=0):
        done = subprocess.run(
            [sys.executable, "-c", RUN, *words],
            cwd=self.folder, capture_output=True, text=True,
            env={**os.environ, "PYTHONPATH": str(self.wheel), "HEAVYSPOT_DATA": "data"},
        )  # fmt: skip
        assert done.returncode == code, done.stdout + done.stderr
        assert "Traceback" not in done.stderr
        return done.stdout + done.stderr


@pytest.fixture(scope="module")
def small(wheel, tmp_path_factory):
    made = Small(wheel, tmp_path_factory.mktemp("small"))
    made.run("examples", "here")
    made.folder = made.folder / "here"
    made.run("model", "add", "larch52.toml")
    made.run("piece", "new", "--serial", "L1", "--model", "Larch 52")
    return made


def test_a_piece_is_read_advised_on_judged_and_kept(small):
    assert "fail" in small.run("spin", "L1", "heavy-nut.flac").lower()
    small.run("ground", "L1", "--plane", "nut", "--angle", "107", "--depth", "0.23")
    assert "pass" in small.run("spin", "L1", "after-two-cuts.flac").lower()
    small.run("show", "L1")
    small.run("backup", "copy")
    assert "as it was written" in small.run("verify")


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("sheet", "L1", "-o", "l1.pdf"), "sheets"),
        (("label", "L1", "-o", "label.pdf"), "sheets"),
        (("demo", "--folder", "demo"), "full"),
        (("serve", "--demo-shop", "--data", "new", "--port", "0"), "full"),
        (("read", "a.parquet"), "insight"),
        (("read", "a.h5"), "hdf5"),
    ],
)
def test_what_needs_a_part_says_the_command_that_installs_it(small, words, part):
    (small.folder / "a.parquet").write_bytes(b"PAR1" + bytes(60))
    (small.folder / "a.h5").write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(60))
    if "--data" in words:
        words = ("--data", "new", *[w for w in words if w not in ("--data", "new")])
    said = small.run(*words, code=2)
    assert f'the part "{part}"' in said
    assert f'uv tool install "heavyspot[{part}]"' in said
    assert not (small.folder / "l1.pdf").exists() and not (small.folder / "demo").exists()


def test_no_number_is_taken_for_a_sheet_that_cannot_be_made(small):
    before = small.run("verify")
    small.run("sheet", "L1", "-o", "l1.pdf", code=2)
    assert small.run("verify") == before


def test_the_wheel_has_all_that_is_not_python(wheel):
    """What the program opens beside its code: pages, words, pictures of parts, sheets, steps of the ledger."""
    inside = {
        p.relative_to(wheel / "heavyspot").as_posix()
        for p in (wheel / "heavyspot").rglob("*")
        if p.is_file()
    }
    source = ROOT / "src/heavyspot"
    house = {
        p.relative_to(source).as_posix()
        for p in source.rglob("*")
        if p.is_file() and p.suffix not in (".pyc", ".pyo") and "__pycache__" not in p.parts
    }
    assert house <= inside
    assert {"web/guides/run-it.md", "examples/larch52.toml"} <= inside
    assert shutil.which("heavyspot", path=str(Path(sys.executable).parent))
