"""Whether a value was checked stands in docs and tests; what a user reads says what was applied."""

import ast
import re
from pathlib import Path

import pytest

import heavyspot
from heavyspot.quantities.said import LANGUAGES, catalogue

SOURCE = Path(heavyspot.__file__).parent
DOUBT = re.compile(
    r"from memory|check the standard|check against the standard|\(ours\)|our guess|are guesses|(?-i:TODO|FIXME)"
    r"|aus dem Gedächtnis|Norm prüfen|de mémoire|vérifier la norme|de memoria|compruebe la norma"
    r"|凭记忆|请核对标准",
    re.IGNORECASE,
)
A_GUESS = re.compile(r"\ba guess\b|geraten|deviné|adivina|猜", re.IGNORECASE)
READ_BY_USERS = [
    p for p in SOURCE.rglob("*")
    if p.suffix in (".html", ".typ", ".toml", ".js", ".css") and "vendor" not in p.parts
]  # fmt: skip
DOCSTRINGS_READ_BY_USERS = ("cli", "web")
"""Help of commands, and of the interface for programs, is made from docstrings."""


def name(path):
    return str(path.relative_to(SOURCE))


def strings(path):
    """What of a file can reach a user: every text but docstrings, and those where they are shown."""
    tree = ast.parse(path.read_text())
    docs = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.value
        shown = path.relative_to(SOURCE).parts[0] in DOCSTRINGS_READ_BY_USERS
        if shown and isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield ast.get_docstring(node) or ""


@pytest.mark.parametrize("path", READ_BY_USERS, ids=name)
def test_no_template_style_or_catalogue_says_a_doubt_of_ours(path):
    text = path.read_text()
    assert DOUBT.findall(text) == [] and A_GUESS.findall(text) == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_sentence_does(language):
    for code, sentence in catalogue(language).items():
        assert not DOUBT.search(sentence) and not A_GUESS.search(sentence), code


def test_no_text_of_the_program_does():
    found = [(name(p), s) for p in SOURCE.rglob("*.py") for s in strings(p) if DOUBT.search(s)]
    assert found == []


def test_the_words_sought_are_found_where_they_are():
    """So that the tests above can fail: what sheets once said, in each language."""
    for once in (
        "ISO 21940-14 (from memory: check the standard)", "(aus dem Gedächtnis: Norm prüfen)",
        "(de mémoire : vérifier la norme)", "(de memoria: compruebe la norma)", "（凭记忆：请核对标准）",
        "0.24 (ours)",
    ):  # fmt: skip
        assert DOUBT.search(once), once
    assert "Show a rotor's readings and corrections." in set(strings(SOURCE / "cli/rotor/work.py"))
