"""What holds for every template, style and script: short lines, no reckoning, no doubts."""

import re
from pathlib import Path
from typing import get_args

import pytest

from heavyspot.web import page
from heavyspot.web.formats import FILTERS
from heavyspot.workshop.bench.asks import Question
from heavyspot.workshop.cartridge.question import ASKED_AFTER

WEB = Path(page.__file__).parent
TEMPLATES = sorted((WEB / "templates").rglob("*.html"))
STATIC = [
    p
    for p in sorted((WEB / "static").rglob("*"))
    if p.suffix in (".css", ".js") and "vendor" not in p.parts
]
LINKED = re.compile(r'/static/([\w./-]+\.(?:css|js|svg))"')
NAMED = re.compile(r'\{% (?:extends|include|from) "([\w/]+\.html)"')
LOGIC = re.compile(
    r"\|\s*format\(|\.format\(|\|\s*round\b|%\.\d|\|\s*replace\(|\b\d+ \*|\* \d|\[:\d|~ ['\"]s['\"]"
)


def name(path):
    return str(path.relative_to(WEB))


def inside(text):
    """Return what a template computes: the insides of its braces."""
    return re.findall(r"\{[{%](.*?)[%}]\}", text, re.S)


def test_there_is_something_to_look_at():
    assert len(TEMPLATES) > 50 and len(STATIC) > 20


@pytest.mark.parametrize("path", TEMPLATES, ids=name)
def test_a_template_only_sets_what_it_is_given(path):
    text = path.read_text()
    assert max(len(line) for line in text.splitlines()) <= 200
    found = [piece for piece in inside(text) if LOGIC.search(piece)]
    assert found == [], "formatting belongs to web/formats.py, decisions to web/views"


@pytest.mark.parametrize("path", TEMPLATES, ids=name)
def test_a_template_names_only_what_is_there(path):
    text = path.read_text()
    for linked in LINKED.findall(text):
        assert (WEB / "static" / linked).is_file(), linked
    for named in NAMED.findall(text):
        assert (WEB / "templates" / named).is_file(), named
    page.templates.env.get_template(str(path.relative_to(WEB / "templates")))  # filters are known


@pytest.mark.parametrize("path", TEMPLATES, ids=name)
def test_no_doubt_of_a_developer_reaches_a_user(path):
    doubts = r"from memory|check the standard|our guess|\(ours\)|TODO|FIXME|not sure|probably"
    assert re.findall(doubts, path.read_text(), re.IGNORECASE) == []


@pytest.mark.parametrize("path", STATIC, ids=name)
def test_styles_and_scripts_have_short_lines(path):
    lines = path.read_text().splitlines()
    assert max(len(line) for line in lines) <= 120
    assert len(lines) <= 400


@pytest.mark.parametrize("path", [p for p in STATIC if p.suffix == ".css"], ids=name)
def test_a_declaration_a_line(path):
    for line in path.read_text().splitlines():
        assert line.count(";") <= 1 and line.count("{") <= 1, line


@pytest.mark.parametrize("path", [p for p in STATIC if p.suffix == ".css"], ids=name)
def test_a_colour_is_named_in_one_place(path):
    if path.name != "tokens.css":
        assert re.findall(r"#[0-9a-f]{6}\b", path.read_text()) == []


@pytest.mark.parametrize("path", [p for p in STATIC if p.suffix == ".js"], ids=name)
def test_a_script_swallows_no_fault_and_imports_what_is_there(path):
    text = path.read_text()
    assert not re.search(r"catch\s*(\([^)]*\))?\s*\{\s*\}|\.catch\(\(\) =>", text)
    for imported in re.findall(r'from "(\.[^"]+)"', text):
        assert (path.parent / imported).is_file(), imported


def test_every_question_has_a_template():
    for question in get_args(Question):
        assert (WEB / f"templates/bench/question/{question}.html").is_file()
    assert set(ASKED_AFTER.values()) <= set(get_args(Question))


def test_every_filter_is_used():
    text = "".join(p.read_text() for p in TEMPLATES)
    assert [f for f in FILTERS if not re.search(rf"\|\s*{f}\b", text)] == []
