"""``heavyspot service``: the workshop as a service of the computer, and its bench on a screen of its own."""

from __future__ import annotations

import plistlib
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Annotated

import typer

from ..quantities.durable import write_text
from ..quantities.errors import BadInput
from ..quantities.private import THIS_SYSTEM
from .common import Settings

service_app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Begin with the computer: a service, and the bench on a screen of its own.",
)

UNITS = Path("/etc/systemd/system")
UNIT = "heavyspot.service"
RUNNING = Path("/run/systemd/system")
"""Is there where systemd runs the computer."""

Only = Annotated[bool, typer.Option("--print", help="Print it; nothing is installed.")]
System = Annotated[
    str, typer.Option("--system", help="linux, windows or macos; this computer's when not given.")
]

SYSTEMD = """[Unit]
Description=Heavyspot: the balancing room's record and adviser
Wants=network-online.target
After=network-online.target

[Service]
Type=exec
User={user}
SupplementaryGroups=audio
ExecStart={command}
WorkingDirectory={here}
Restart=on-failure
RestartSec=5
KillSignal=SIGINT
SuccessExitStatus=130
TimeoutStopSec=60
UMask=0077
NoNewPrivileges=yes
PrivateTmp=yes
ProtectSystem=strict
ProtectHome=read-only
ReadWritePaths={data}

[Install]
WantedBy=multi-user.target
"""

POWERSHELL = """# In PowerShell as administrator. A task, not a service: nothing else has to be installed for it.
$action = New-ScheduledTaskAction -Execute {program} -Argument {words} -WorkingDirectory {data}
$begin = New-ScheduledTaskTrigger -AtStartup
$how = New-ScheduledTaskSettingsSet -RestartCount 999 -RestartInterval (New-TimeSpan -Minutes 1) `
  -ExecutionTimeLimit ([TimeSpan]::Zero) -AllowStartIfOnBatteries -DontStopIfGoingOnBatteries
$who = New-ScheduledTaskPrincipal -UserId "$env:USERDOMAIN\\$env:USERNAME" -LogonType S4U
Register-ScheduledTask -TaskName Heavyspot -Action $action -Trigger $begin -Settings $how -Principal $who
Start-ScheduledTask -TaskName Heavyspot
# Off again: Stop-ScheduledTask Heavyspot; Unregister-ScheduledTask Heavyspot
"""

KIOSK = {
    "linux": """# ~/.config/autostart/heavyspot-bench.desktop of the user who is logged in by itself
[Desktop Entry]
Type=Application
Name=Heavyspot bench
Exec=sh -c "until curl -sf {ready} >/dev/null; do sleep 1; done; exec chromium --noerrdialogs --kiosk {url}"
""",
    "windows": """# In PowerShell, as the user who is logged in by itself: a shortcut that begins with the login.
$at = [Environment]::GetFolderPath('Startup')
$link = (New-Object -ComObject WScript.Shell).CreateShortcut("$at\\Bench.lnk")
$link.TargetPath = "msedge.exe"
$link.Arguments = "--kiosk {url} --edge-kiosk-type=fullscreen"
$link.Save()
""",
    "macos": """# Once, in a terminal; then System Settings, Login Items: add the browser.
open -a Chromium --args --kiosk {url}
""",
}


@service_app.command("install", context_settings={"ignore_unknown_options": True})
def install(
    serve: Annotated[
        list[str] | None,
        typer.Argument(help="Options of serve, after --: -- --host 192.168.1.5 --rig rig.toml"),
    ] = None,
    only: Only = False,
    system: System = "",
    user: Annotated[str, typer.Option("--user", help="Whose process it is (linux).")] = "",
) -> None:
    """Let the workshop begin with the computer: installs on Linux with systemd, else prints what to do."""
    text = service_text(system or THIS_SYSTEM, serve or [], user=user)
    if only:
        typer.echo(text, nl=False)
        return
    if system not in ("", THIS_SYSTEM) or THIS_SYSTEM != "linux" or not RUNNING.is_dir():
        raise BadInput(
            "Only on Linux with systemd is a service installed by this command.",
            remedy="With --print it says what to do on this computer.",
        )
    path = UNITS / UNIT
    try:
        write_text(path, text)
        for words in (["daemon-reload"], ["enable", "--now", UNIT]):
            subprocess.run(["systemctl", *words], check=True)
    except PermissionError:
        raise BadInput(
            f"{path} may be written by the administrator alone.",
            remedy=f"sudo {_program()} service install ..., or --print and put it there.",
        ) from None
    except subprocess.CalledProcessError as fault:
        raise BadInput(
            f"systemctl {' '.join(fault.cmd[1:])} failed.", remedy=f"journalctl -u {UNIT}"
        ) from None
    typer.echo(f"{path} written and begun. What it says: journalctl -u {UNIT}")


@service_app.command("kiosk")
def kiosk(
    url: Annotated[
        str, typer.Option("--url", help="Address of the bench.")
    ] = "http://127.0.0.1:8520/",
    system: System = "",
) -> None:
    """Print how a screen at the rig shows the bench, and nothing else, from its start."""
    _known(system or THIS_SYSTEM)
    if any(c in url for c in "\"'`$ \\"):
        raise BadInput(f"{url} is no address.", remedy="Like http://127.0.0.1:8520/.")
    ready = url.split("/", 3)
    text = KIOSK[system or THIS_SYSTEM]
    typer.echo(text.format(url=url, ready="/".join([*ready[:3], "ready"])), nl=False)


def service_text(system: str, serve: list[str], *, user: str = "") -> str:
    """Return the unit, the recipe or the property list that lets ``serve`` begin with a computer.

    Raises
    ------
    BadInput
        The system is not known, or a word holds a line break.
    """
    _known(system)
    data = Settings.data.absolute()
    words = ["--data", str(data), "serve", *serve]
    if any(c in w for w in (*words, user) for c in "\r\n\0"):
        raise BadInput("An option holds a line break.", remedy="Leave it out.")
    if system == "linux":
        command = " ".join(map(_systemd_word, [_program(), *words]))
        here = str(Path.cwd()).replace("%", "%%")
        return SYSTEMD.format(
            user=user or "heavyspot", command=command, here=here, data=_systemd_word(str(data))
        )
    if system == "windows":
        line = subprocess.list2cmdline(words)
        return POWERSHELL.format(
            program=_quoted(_program()), words=_quoted(line), data=_quoted(str(Path.cwd()))
        )
    asked = {
        "Label": "org.heavyspot.serve",
        "ProgramArguments": [_program(), *words],
        "RunAtLoad": True,
        "KeepAlive": {"SuccessfulExit": False},
        "WorkingDirectory": str(Path.cwd()),
        "Umask": 0o077,
    }
    return plistlib.dumps(asked, sort_keys=False).decode()


def _known(system: str) -> None:
    if system not in KIOSK:
        raise BadInput(
            f"System {system!r} is not known.", remedy="Known: " + ", ".join(KIOSK) + "."
        )


def _program() -> str:
    """Return where this program lies: a service has no search path of a person's."""
    beside = Path(sys.executable).with_name("heavyspot")
    return str(beside if beside.exists() else shutil.which("heavyspot") or beside)


def _systemd_word(word: str) -> str:
    """Return a word as a unit's command line takes it (systemd.service, systemd.syntax)."""
    plain = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return f'"{plain}"' if set(plain) & set(" \t'\";\\") else plain


def _quoted(word: str) -> str:
    return "'" + word.replace("'", "''") + "'"
