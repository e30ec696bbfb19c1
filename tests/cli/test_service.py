"""The workshop as a service: what systemd itself says of the unit, and that printing installs nothing."""

import configparser
import plistlib
import shutil
import subprocess
from pathlib import Path

import pytest
from cli.test_contract import Shell

from heavyspot.cli import service


@pytest.fixture
def shell(tmp_path):
    folder = tmp_path / "a shop 100%"
    (folder / "data").mkdir(parents=True)
    return Shell(folder)


def test_systemd_takes_the_unit(shell, tmp_path):
    from conftest import needs

    needs(shutil.which("systemd-analyze"), "systemd-analyze")
    said = shell.run(
        "service", "install", "--print", "--system", "linux", "--user", "root",
        "--", "--host", "127.0.0.1", "--rig", "my rig.toml", "--log", "a$HOME.log",
    ).stdout  # fmt: skip
    (tmp_path / "heavyspot.service").write_text(said)
    done = subprocess.run(
        ["systemd-analyze", "verify", str(tmp_path / "heavyspot.service")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0 and "heavyspot.service" not in done.stderr, done.stderr
    unit = configparser.RawConfigParser(strict=False)
    unit.optionxform = str  # type: ignore[method-assign, assignment]  # keys as they are
    unit.read_string(said)
    assert unit["Service"]["ExecStart"].endswith(
        'a shop 100%%/data" serve --host 127.0.0.1 --rig "my rig.toml" --log a$$HOME.log'
    )
    assert unit["Service"]["ReadWritePaths"] == f'"{shell.folder}/data"'.replace("%", "%%")
    assert unit["Service"]["KillSignal"] == "SIGINT"  # the spin that runs is read and kept


def test_windows_and_macos_are_told_what_to_do(shell):
    words = ("--", "--rig", "it's a rig.toml")
    there = shell.run("service", "install", "--print", "--system", "windows", *words).stdout
    assert "Register-ScheduledTask" in there and "it''s a rig.toml" in there
    told = plistlib.loads(
        shell.run("service", "install", "--print", "--system", "macos", *words).stdout.encode()
    )
    assert told["ProgramArguments"][-2:] == ["--rig", "it's a rig.toml"]
    assert "not known" in shell.run("service", "install", "--system", "plan9", code=2).stderr


def test_it_is_installed_where_systemd_runs_and_only_when_asked(shell, tmp_path, monkeypatch):
    told = []
    monkeypatch.setattr(service, "THIS_SYSTEM", "linux")
    monkeypatch.setattr(service, "UNITS", tmp_path)
    monkeypatch.setattr(service, "RUNNING", tmp_path)
    monkeypatch.setattr(subprocess, "run", lambda words, check: told.append(words))
    shell.run("service", "install", "--print")
    assert not (tmp_path / service.UNIT).exists() and told == []
    shell.run("service", "install", "--user", "shop")
    assert "User=shop" in (tmp_path / service.UNIT).read_text()
    assert told == [["systemctl", "daemon-reload"], ["systemctl", "enable", "--now", service.UNIT]]
    monkeypatch.setattr(service, "RUNNING", tmp_path / "nowhere")
    assert "--print" in shell.run("service", "install", code=2).stderr

    def refused(path, text):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(service, "RUNNING", tmp_path)
    monkeypatch.setattr(service, "write_text", refused)
    assert "administrator" in shell.run("service", "install", code=2).stderr


def test_a_line_break_puts_nothing_into_the_unit(shell):
    bad = "x\nExecStartPre=/bin/false"
    assert "line break" in shell.run("service", "install", "--print", "--", bad, code=2).stderr
    assert "line break" in shell.run("service", "install", "--print", "--user", bad, code=2).stderr


@pytest.mark.parametrize("system", ["linux", "windows", "macos"])
def test_the_bench_on_a_screen_of_its_own(shell, system):
    said = shell.run(
        "service", "kiosk", "--system", system, "--url", "http://10.0.0.5:8520/at/north"
    )
    assert "--kiosk http://10.0.0.5:8520/at/north" in said.stdout
    assert "address" in shell.run("service", "kiosk", "--url", "http://x/ & calc'", code=2).stderr


def test_the_container_and_its_companions_name_no_registry_and_fit_each_other():
    root = Path(__file__).parents[2]
    text = (root / "Containerfile").read_text()
    images = [line.split()[1] for line in text.splitlines() if line.startswith("FROM")]
    compose = (root / "compose.yaml").read_text()
    images += [
        line.split()[1] for line in compose.splitlines() if line.strip().startswith("image:")
    ]
    assert len(images) == 3 and all("/" not in i and "." not in i.split(":")[0] for i in images)
    for line in text.splitlines():
        if line.startswith("COPY ") and "--from" not in line:
            assert all((root / name).exists() for name in line.split()[1:-1]), line
    assert "dockerfile: Containerfile" in compose
