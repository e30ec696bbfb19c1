"""Write docs/reference/adviser-constants.md: every number of the adviser, what it is, and where it comes from.

A constant of `balance/cut` without a sentence of its own stops the script.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

HOUSE = Path(__file__).parents[1]
ROOM = HOUSE / "src" / "heavyspot" / "balance" / "cut"
PAGE = HOUSE / "docs" / "reference" / "adviser-constants.md"

HEAD = """# Numbers of the adviser

Made from the source by `scripts/adviser_constants.py`. What is a stated choice may be argued with; what a shop's own runs show
(scatter of runs and cuts, responses, chances kept) is learnt from the ledger and stands in none of these.

| number | value | what it is, and where it comes from | in |
| --- | --- | --- | --- |
"""


def constants(path: Path) -> Iterator[tuple[str, str, str]]:
    """Yield name, value and sentence of each module-level number; raises ValueError where one has no sentence."""
    body = ast.parse(path.read_text(encoding="utf-8")).body
    for node, after in zip(body, [*body[1:], None], strict=True):
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
            continue
        target = node.targets[0] if isinstance(node, ast.Assign) else node.target
        names = ast.unparse(target).strip("()")
        if not names.split(",")[0].isupper() or not _is_number(node.value):
            continue
        if not isinstance(after, ast.Expr) or not isinstance(after.value, ast.Constant):
            raise ValueError(f"{path.name}: {names} has no sentence that says where it comes from")
        yield names, ast.unparse(node.value).strip("()"), " ".join(str(after.value.value).split())


def _is_number(node: ast.expr) -> bool:
    if isinstance(node, ast.Tuple):
        return all(map(_is_number, node.elts))
    if isinstance(node, ast.BinOp):
        return _is_number(node.left) and _is_number(node.right)
    if isinstance(node, ast.UnaryOp):
        return _is_number(node.operand)
    return isinstance(node, ast.Constant) and isinstance(node.value, int | float)


def page() -> str:
    """Return the page."""
    rows = [
        f"| `{name}` | {value} | {said} | `{path.name}` |"
        for path in sorted(ROOM.glob("*.py"))
        for name, value, said in constants(path)
    ]
    return HEAD + "\n".join(rows) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
