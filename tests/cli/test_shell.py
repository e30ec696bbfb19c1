"""How the program behaves in a shell: one spelling, pipes, and one sentence where the system refuses."""

import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from cli.test_contract import PROGRAM, Shell

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A shop with a spun piece S1 and the example files."""
    made = Shell(tmp_path_factory.mktemp("shell"))
    for file in (ROOT / "docs/examples").iterdir():
        shutil.copy(file, made.folder)
    (made.folder / "out").mkdir()
    made.run("model", "add", "larch52.toml")
    made.run("piece", "new", "--serial", "S1", "--model", "Larch 52")
    made.run("spin", "S1", "heavy-nut.flac")
    return made


@pytest.mark.parametrize(
    "words",
    [
        ["label", "S1", "-o", "out"],
        ["head", "--to", "out"],
        ["convert", "heavy-nut.flac", "nowhere/x.csv"],
        ["simulate", "nowhere/x.wav"],
        ["examples", "larch52.toml"],
        ["reissue", "customer:x", "--to", "larch52.toml"],
        ["demo", "--folder", "larch52.toml"],
        ["serve", "--port", "99999"],
        ["serve", "--tls-certificate", "larch52.toml", "--tls-key", "larch52.toml"],
        ["serve", "--host", "nowhere.invalid"],
        ["move", "data", "nonsense://x"],
        ["rotor", "split", "1@30", "--places", "100000000"],
        ["watch", "larch52.toml"],
    ],
    ids=" ".join,
)
def test_what_the_system_refuses_is_one_sentence_and_exit_code_2(shop, words):
    done = shop.run(*words, code=2)
    assert done.stdout == ""
    passed_over = (" ", "Usage", "Try", "Opening")  # remedies, how it is used, progress
    said = [x for x in done.stderr.splitlines() if x.strip() and not x.startswith(passed_over)]
    assert len(said) == 1 and "Traceback" not in done.stderr


def test_a_port_that_is_taken_is_said_before_anything_is_opened(shop, tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        done = Shell(tmp_path).run("serve", "--port", taken.getsockname()[1], code=2)
    assert "Nothing can listen on 127.0.0.1" in done.stderr
    assert not (tmp_path / "data").exists()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("words", [["show", "S1"], ["show", "S1", "--json"], ["--help"]])
def test_a_full_output_is_said_and_is_no_success(shop, words):
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [str(PROGRAM), *shop.words(words)[1:]],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            cwd=shop.folder,
        )
    assert done.returncode == 2
    assert (
        done.stderr.startswith("What is said cannot be written") and "Traceback" not in done.stderr
    )


@pytest.mark.parametrize("words", [["-h"], ["spin", "-h"], ["rotor", "sheet", "-h"]])
def test_h_is_help(shop, words):
    assert "Usage: heavyspot" in shop.run(*words).stdout


def test_the_program_runs_as_a_module(shop):
    done = subprocess.run(
        [sys.executable, "-m", "heavyspot", "--version"], capture_output=True, text=True
    )
    assert done.returncode == 0 and done.stdout.strip() == shop.run("--version").stdout.strip()


def test_one_spelling_does_everywhere(shop):
    shop.run("piece", "add", "--serial", "S2", "--model", "Larch 52")
    shop.run("model", "new", "larch52.toml")
    shop.run("spin", "S2", "after-two-cuts.flac", "--by", "Ines")
    assert shop.json("show", "S2")["runs"][0]["by"] == "Ines"
    for flag in ("-o", "--output", "--out"):
        shop.run("label", "S2", flag, f"out/label{flag}.pdf")


def test_a_recording_goes_through_pipes(shop):
    """Standard output is CSV and nothing else; standard input takes any format."""

    def piped(content, *words):
        return subprocess.run(
            [str(PROGRAM), *words], input=content, capture_output=True, cwd=shop.folder, check=True
        ).stdout

    text = piped(b"", "convert", "heavy-nut.flac", "-")
    assert text.startswith(b"# heavyspot {") and text.splitlines()[1].startswith(
        b"time [s],housing"
    )
    assert b"highest" in piped(text, "read", "-")
    piped(text, "convert", "-", "piped.flac")
    assert b"highest" in piped(text, "read", "-", "--format", "csv")
    bare = subprocess.run(
        [str(PROGRAM), "read", "-"],
        input=(shop.folder / "heavy-nut.flac").read_bytes(),
        capture_output=True,
    )
    assert bare.returncode == 2 and b"no phase channel" in bare.stderr  # a pipe brings no sidecar


def test_ctrl_c_while_it_starts_is_no_traceback(monkeypatch, capsys):
    import heavyspot.cli.main
    from heavyspot.__main__ import run

    def pressed():
        raise KeyboardInterrupt

    monkeypatch.setattr(heavyspot.cli.main, "main", pressed)
    with pytest.raises(SystemExit) as ended:
        run()
    assert ended.value.code == 130 and capsys.readouterr().err == "Stopped.\n"


def test_a_table_of_nothing_is_a_table(tmp_path):
    import duckdb

    from heavyspot.web.tables_out import COLUMNS, _parquet

    (tmp_path / "none.parquet").write_bytes(_parquet([]))
    with duckdb.connect() as base:
        found = base.execute(
            "describe select * from read_parquet(?)", [str(tmp_path / "none.parquet")]
        )
        assert [row[0] for row in found.fetchall()] == list(COLUMNS)
