"""The ``heavyspot`` command."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from .._version import __version__
from ..quantities.durable import PART
from ..quantities.errors import HeavyspotError, exit_of
from .agent import agent
from .cartridge import curves, recordings, work
from .common import Settings, open_workshop
from .flow import flow_app
from .hooks import hook_app
from .job import piece_app
from .keep.copies import backup, move, private, restore, upgrade
from .keep.reread import reread_app
from .keep.retention import recordings_app
from .keep.verify import head, prove, reindex, verify
from .model import model_app
from .old_book import bring
from .people import user_app
from .rig import rig_app
from .rotor.machine import machine_app
from .rotor.sums import rotor_app
from .serve import serve
from .sheets import reissue
from .station import station_app
from .trying.demo_command import demo
from .trying.simulate import examples, simulate

app = typer.Typer(
    name="heavyspot",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Reads a turbocharger balancing rig, says where to grind and how deep, keeps the record.\n\n"
    "It advises; it is never an interlock. Rated speed, containment, oil mist, hot parts and sparks "
    "are the shop's duty, by the maker's data and local rules.",
)
SUBJECTS = {
    "model": model_app,
    "piece": piece_app,
    "rig": rig_app,
    "user": user_app,
    "hook": hook_app,
    "rotor": rotor_app,
    "machine": machine_app,
    "flow": flow_app,
    "station": station_app,
    "reread": reread_app,
    "recordings": recordings_app,
}
VERBS = (
    verify,
    prove,
    head,
    reindex,
    backup,
    restore,
    move,
    upgrade,
    private,
    bring,
    serve,
    agent,
    reissue,
    work.spin,
    curves.curve,
    work.ground,
    work.looked,
    work.overrule,
    work.sheet,
    work.label,
    recordings.read,
    recordings.convert,
    recordings.watch,
    work.show,
    demo,
    simulate,
    examples,
    recordings.devices,
)
GOES_ON = ("bring", "reissue", "reread", "recordings", "station")
"""Commands of many writes, each done once by itself: with --once, what was cut off goes on."""

for name, subject in SUBJECTS.items():
    app.add_typer(subject, name=name)
for verb in VERBS:
    app.command()(verb)


def _version(show: bool) -> None:
    if show:
        typer.echo(__version__)
        raise typer.Exit


@app.callback()
def start(
    context: typer.Context,
    data: Annotated[
        Path, typer.Option("--data", envvar="HEAVYSPOT_DATA", help="Data folder of the shop.")
    ] = Path("data"),
    once: Annotated[
        str,
        typer.Option(
            "--once", help="Name under which what follows is written once, however often."
        ),
    ] = "",
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Settings for every command."""
    Settings.data = data
    if once:
        from ..workshop.once import asked_once, digest_of

        asked = [a for a in sys.argv[1:] if a != "--json"]
        key, goes_on = digest_of("cli", once), context.invoked_subcommand in GOES_ON
        Settings.once = context.with_resource(asked_once(key, digest_of(*asked), goes_on=goes_on))


def _finished() -> None:
    """Write down that what was asked under a name has come to its end."""
    asked = Settings.once
    if asked is not None and asked.written:
        from ..workshop.once import Answer, keep_answer

        shop = open_workshop()
        keep_answer(shop, Answer(asked.key, asked.digest, "", status=0))
        shop.close()


def main() -> None:
    """Run the command line: 0 done, 1 not passed with --check, 2 bad use or bad input."""
    try:
        Settings.once = None
        code = app(prog_name="heavyspot", standalone_mode=False)
        _finished()
    except HeavyspotError as fault:
        sys.stderr.write(f"{fault.message}\n  {fault.remedy}\n")
        code = exit_of(fault)
    except typer.Abort:
        sys.stderr.write("Stopped.\n")
        code = 130
    except BrokenPipeError:
        _say_no_more()  # whoever read our output has enough
        code = 0
    except OSError as fault:
        code = _refused_by_the_system(fault)
    except Exception as fault:
        if not hasattr(fault, "exit_code"):
            raise
        show = getattr(fault, "show", None)
        if show:
            show()
        code = 2
    sys.exit(_flushed(code if isinstance(code, int) else 0))


def _refused_by_the_system(fault: OSError) -> int:
    """Say in one sentence what the system refuses: a folder where a file is meant, a full disk."""
    name = str(fault.filename).removesuffix(PART) if fault.filename else ""
    about = f"{name} cannot be used" if name else "The system refuses"
    if fault.filename is None and fault.errno == errno.ENOSPC:
        about = "What is said cannot be written"
        _say_no_more()
    sys.stderr.write(f"{about} ({fault.strerror or fault}).\n  Check the name and the disk.\n")
    return 2


def _flushed(code: int) -> int:
    """Write what is still to be said; where it cannot be, that is a fault too."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _say_no_more()
    except OSError as fault:
        return _refused_by_the_system(fault)
    return code


def _say_no_more() -> None:
    """Let nothing more go to an output that takes nothing, so that no second error comes at the end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    main()
