"""Write docs/reference/cli.md from the program's own help; a test fails when it is stale."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from typer.main import get_command

from heavyspot.cli.main import app

PATH = Path(__file__).parents[1] / "docs/reference/cli.md"

HEAD = """# Command line

Made from the program's own help by `scripts/cli_reference.py`.

`heavyspot --data DIR COMMAND`: `--data` (or the variable `HEAVYSPOT_DATA`) names the shop's data folder,
`data` when not given. Exit codes: 0 done; 1 with `--check`, verdict not pass; 2 bad use or bad input;
3 what was named is not there; 4 the ledger or a line is away. A fault is one sentence on standard error, and
nothing on standard output. `--json` prints one JSON document and nothing else; progress goes to standard
error.

`-h` is help everywhere, `-o` the file or folder to write, `--by` who does it; `new` and `add` are one.
Where a recording is read, `-` is standard input; `convert RECORDING -` writes CSV to standard output.
`python -m heavyspot` is the same program, and `heavyspot --install-completion` lets a shell (bash, zsh, fish,
PowerShell) complete its words.

`spin --json`:

```
{"run": id, "number": 1, "serial": "...",
 "curve": {"speed_rpm": [...], "amplitude_g": [...], "angle_deg": [...], "noise_g": [...]},
 "overall_g": [...], "twice_g": [...], "thrice_g": [...], "passes": [{"direction": "up", ...}, ...],
 "verdict": "pass|fail|undecided", "margin": x, "covered": 1.0,
 "reason": "...", "reason_said": {"code": "...", "values": {...}},
 "worst": {"speed_rpm", "amplitude_g", "uncertainty_g", "limit_g", "ratio"},
 "findings": [{"code", "severity", "text", "do", "evidence"}],
 "advice": {"action": "cut|spin_again|fix|stop",
            "cuts": [{"plane", "angle_deg", "clock", "mass_mg", "unbalance_gmm", "depth_mm"}],
            "predicted": {"speed_rpm", "amplitude_g", "low_g", "high_g",
                          "others": [the same of each further sensor]} or null,
            "chance_of_pass": p, "computed_chance": p, "expected_ratio": x, "trial": false, "why": "...",
            "one_more": [cuts],
            "others": [{"cuts", "chance_of_pass", "expected_ratio"}]},
 "notes": [...]}
```

`curve` is the longest pass; amplitudes are g zero-to-peak, `overall_g` is rms, `margin` the share of the limit
still free at the worst speed (negative over it), `low_g` to `high_g` hold the next run nine times in ten;
`one_more` are cuts that would still lower the curve after a pass, `others` what else could be done (no cuts:
leave it).
What is said stands in English (`reason`; of a rotor `rule`, `notes`, `proofs`), and under the same name with
`_said` as its code and the values in it, for a sentence in another language; what was kept before there were
codes has none.
With no trustworthy reference the lists are empty, `margin` and `worst` null, the verdict undecided.
"""


def reference() -> str:
    """Return the whole page."""
    parts = [HEAD]
    for path, command in _leaves(get_command(app), []):
        arguments = " ".join(
            (p.metavar or p.name or "").upper()
            for p in command.params
            if p.param_type_name == "argument"
        )
        parts.append(f"\n## `heavyspot {' '.join([*path, arguments]).strip()}`\n\n{command.help}\n")
        rows = [
            f"| `{', '.join(p.opts)}` | {p.help or ''}{' Needed.' if p.required else ''} |"
            for p in command.params
            if p.param_type_name == "option" and p.name != "help"
        ]
        if rows:
            parts.append("\n| option | meaning |\n| --- | --- |\n" + "\n".join(rows) + "\n")
    return "".join(parts)


def _leaves(command: Any, path: list[str]) -> Iterator[tuple[list[str], Any]]:
    commands = getattr(command, "commands", None)
    if not commands:
        yield path, command
        return
    for name in sorted(commands):
        yield from _leaves(commands[name], [*path, name])


if __name__ == "__main__":
    PATH.write_text(reference())
