"""Change the core a little, many times, and see whether its tests notice: mutation testing with mutmut.

Each file of `mutants.toml` is copied with its tests to a folder of its own, so the checkout is never changed.
A seeded sample of the changes is tried, each against the tests of the file's subject alone; changes of wording
only, of module constants and of decorated functions are not made. Fails where fewer than 85 % of a file's changes
are noticed or explained as changing nothing.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path

from mutmut.mutation.file_mutation import mutate_file_contents
from mutmut.stats import status_by_exit_code

ROOT = Path(__file__).parents[1]
SAMPLE = 60
ENOUGH = 0.85
NOTICED = {"killed", "timeout", "segfault"}

SETTINGS = """
[tool.mutmut]
source_paths = ["src"]
only_mutate = ["{path}"]
pytest_add_cli_args = ["-n", "0", "-p", "no:cacheprovider", "--hypothesis-seed=0"]
pytest_add_cli_args_test_selection = {tests}
process_isolation = "forkserver"  # threads of a solver do not outlive a fork
timeout_multiplier = 4.0
timeout_constant = 4.0
"""


@dataclass(frozen=True)
class Change:
    """One change: its name, the lines it takes away and those it puts there."""

    name: str
    was: tuple[str, ...]
    is_: tuple[str, ...]


@dataclass
class Row:
    """One line of the table."""

    path: str
    made: int
    tried: int
    noticed: int
    explained: int
    unseen: list[Change]

    @property
    def share(self) -> float:
        """Share of the changes tried that were noticed or change nothing."""
        return (self.noticed + self.explained) / self.tried


class _NoWords(ast.NodeTransformer):
    """Forget what sentences say: how a thing is worded is no change of what is computed."""

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        return ast.Constant("") if isinstance(node.value, str) and " " in node.value else node


def _lines(function: ast.FunctionDef) -> list[str]:
    lines = ast.unparse(function).splitlines()
    first = next(i for i, line in enumerate(lines) if line.lstrip().startswith("def "))
    return [line.strip() for line in lines[first + 1 :]]


def changes_of(path: str) -> list[Change]:
    """Return the changes of one file of the core, those of words left out."""
    made = mutate_file_contents(path, (ROOT / "src/heavyspot" / path).read_text())
    functions = {
        node.name: node
        for node in ast.walk(ast.parse(made.code))
        if isinstance(node, ast.FunctionDef)
    }
    module = "heavyspot." + path.removesuffix(".py").replace("/", ".")
    found = []
    for name in made.mutant_names:
        before = functions[name.rpartition("_mutmut_")[0] + "_mutmut_orig"]
        a, b = _lines(before), _lines(functions[name])
        quiet = [
            _lines(ast.fix_missing_locations(_NoWords().visit(ast.parse(ast.unparse(f)).body[0])))
            for f in (before, functions[name])
        ]
        if quiet[0] == quiet[1]:
            continue
        while a and b and a[0] == b[0]:
            a, b = a[1:], b[1:]
        while a and b and a[-1] == b[-1]:
            a, b = a[:-1], b[:-1]
        found.append(Change(f"{module}.{name}", tuple(a), tuple(b)))
    return found


def results_of(path: str, tests: list[str], names: list[str], workers: int) -> dict[str, str]:
    """Return what became of each change, tried in a copy."""
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = Path(folder)
        ignore = shutil.ignore_patterns("__pycache__", ".hypothesis")
        for part in ("src", "tests"):
            shutil.copytree(ROOT / part, copy / part, ignore=ignore)
        told = SETTINGS.format(
            path=f"src/heavyspot/{path}", tests=json.dumps([f"tests/{t}" for t in tests])
        )
        (copy / "pyproject.toml").write_text((ROOT / "pyproject.toml").read_text() + told)
        done = subprocess.run(
            [Path(sys.executable).with_name("mutmut"), "run", f"--max-children={workers}", *names],
            cwd=copy,
            env=os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
            capture_output=True,
            text=True,
        )
        if done.returncode:
            sys.exit(f"{path}: the tests do not pass in a copy.\n{done.stderr[-2000:]}")
        meta = json.loads((copy / f"mutants/src/heavyspot/{path}.meta").read_text())
    return {name: status_by_exit_code[meta["exit_code_by_key"][name]] for name in names}


def row_of(path: str, tests: list[str], same: list[str], sample: int, workers: int) -> Row:
    """Try a sample of one file's changes."""
    made = changes_of(path)
    tried = random.Random(path).sample(made, min(sample, len(made)))
    became = results_of(path, tests, [c.name for c in tried], workers)
    missed = [c for c in tried if became[c.name] not in NOTICED]
    unseen = [c for c in missed if " ".join(c.is_) not in same]
    explained = len(missed) - len(unseen)
    return Row(path, len(made), len(tried), len(tried) - len(missed), explained, unseen)


def main() -> None:
    """Print the table; exit code 1 where too little is noticed."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    ask.add_argument("only", nargs="*", help="files, for example balance/cut/minmax.py")
    ask.add_argument("--sample", type=int, default=SAMPLE, help=f"changes a file ({SAMPLE})")
    ask.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    asked = ask.parse_args()
    os.chdir(ROOT)  # mutmut looks for its settings where it stands
    told = tomllib.loads(Path(__file__).with_suffix(".toml").read_text())
    chosen = {p: t for p, t in told["tests"].items() if not asked.only or p in asked.only}
    if len(chosen) < len(set(asked.only)):
        sys.exit("known files: " + ", ".join(told["tests"]))
    print(f"at most {asked.sample} changes a file, a sample with a fixed seed; no wording")
    print(f"{'file':30}{'made':>6}{'tried':>7}{'noticed':>9}{'explained':>11}{'unseen':>8}{'%':>5}")
    rows = []
    for path, tests in chosen.items():
        same = [e["is"] for e in told.get("same", []) if e["file"] == path]
        row = row_of(path, tests, same, asked.sample, asked.workers)
        rows.append(row)
        print(
            f"{path:30}{row.made:6}{row.tried:7}{row.noticed:9}{row.explained:11}{len(row.unseen):8}"
            f"{100 * row.share:5.0f}",
            flush=True,
        )
        for c in row.unseen:
            print(
                f"  {c.name.rpartition('.')[2]}\n    - {' '.join(c.was)}\n    + {' '.join(c.is_)}"
            )
    low = [row.path for row in rows if row.share < ENOUGH]
    if low:
        sys.exit(f"under {100 * ENOUGH:.0f} %: " + ", ".join(low))


if __name__ == "__main__":
    main()
