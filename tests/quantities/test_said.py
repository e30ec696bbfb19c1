"""What is said: a code in every language, its values in every sentence, old words shown as they are."""

import ast
import re
from pathlib import Path
from string import Formatter
from typing import get_args

import pytest

import heavyspot
from heavyspot.balance.limits import Verdict
from heavyspot.flow.nozzles import Way
from heavyspot.quantities.angles import Rotation
from heavyspot.quantities.errors import BadInput
from heavyspot.quantities.said import (
    AS_IT_IS,
    LANGUAGES,
    THIN_SPACE,
    Said,
    as_it_is,
    catalogue,
    in_words,
    in_words_each,
    kept,
    kept_each,
    said_json,
)
from heavyspot.workshop.flow.bench import KINDS
from heavyspot.workshop.job.pieces import POSITIONS

SOURCE = Path(heavyspot.__file__).parent
DOCS = SOURCE.parents[1] / "docs/reference/findings.md"
TEMPLATES = sorted([*(SOURCE / "sheet").glob("*.typ"), *(SOURCE / "web/templates").rglob("*.html")])
OTHERS = [language for language in LANGUAGES if language != "en"]


def calls(name):
    """Every call of a name in the program: where, and the call."""
    for path in sorted(SOURCE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == name:
                yield f"{path.relative_to(SOURCE)}:{node.lineno}", node


def places(sentence):
    return {name: spec for _, name, spec, _ in Formatter().parse(sentence) if name is not None}


def literals(node):
    return {
        n.value for n in ast.walk(node) if isinstance(n, ast.Constant) and isinstance(n.value, str)
    }


def code_patterns():
    """The code of every sentence of the program as a pattern; what is computed in it stands for anything."""
    for where, call in [*calls("Said"), *calls("told")]:
        given = call.args[0] if call.args else None
        if isinstance(given, ast.JoinedStr):
            parts = [
                re.escape(str(p.value)) if isinstance(p, ast.Constant) else r"[\w.]+"
                for p in given.values
            ]
            yield where, "".join(parts)
        elif isinstance(given, ast.Constant):
            yield where, re.escape(str(given.value))
        elif isinstance(given, ast.BinOp) and isinstance(given.left, ast.Constant):
            yield where, re.escape(str(given.left.value)) + r"[\w.]+"
        else:  # one of two codes, or a name: the codes are literals near by
            yield where, "|".join(re.escape(t) for t in literals(given)) or re.escape(AS_IT_IS)


def template_codes():
    """Every code of the templates, and the beginnings of those that hang on the data."""
    whole, begun = set(), set()
    for path in TEMPLATES:
        text = path.read_text()
        whole |= set(
            re.findall(r"""\b(?:t|t_marked|fact|sheet\.with)\(["']([\w.]+)["'](?! [+~])""", text)
        )
        begun |= set(re.findall(r"""\bt\(["']([\w.]+\.)["'] [+~]""", text))
        for group in re.findall(r"header\(\.\.\(([^()]*)\)", text):
            whole |= {f"column.{name}" for name in re.findall(r'"(\w+)"', group)}
    return whole, begun - {"column."}


def findings():
    """The code of every finding, from the reference and from the program."""
    documented = set(re.findall(r"^\| ([a-z_]+\.[a-z_]+) \|", DOCS.read_text(), re.MULTILINE))
    made = {
        call.args[0].value
        for _, call in calls("finding_of")
        if isinstance(call.args[0], ast.Constant)
    }
    assert len(documented) > 25 and len(made) > 20
    return documented | made


@pytest.mark.parametrize("language", OTHERS)
def test_no_catalogue_misses_a_code_or_a_value(language):
    english, words = catalogue("en"), catalogue(language)
    assert set(words) == set(english)
    for code, sentence in words.items():
        assert sentence.strip(), code
        assert set(places(sentence)) == set(places(english[code])), code
        assert not any(places(sentence).values()), (
            f"{code}: how it is spelt stands in English alone"
        )


def test_every_code_of_the_program_has_its_sentence_and_no_sentence_is_dead():
    known = set(catalogue("en"))
    whole, begun = template_codes()
    assert whole - known == set()
    used = set(whole) | {AS_IT_IS}
    for beginning in begun:
        used |= {code for code in known if code.startswith(beginning)}
    for where, pattern in code_patterns():
        matching = {code for code in known if re.fullmatch(pattern, code)}
        assert matching, (where, pattern)
        used |= matching
    used |= {"calibration.past_due", "calibration.due"}  # chosen by a name, in sheets/head.py
    used |= {
        code for code in known if code.startswith("count.")
    }  # chosen by number, in web/formats.py
    assert known - used == set()


@pytest.mark.parametrize(
    ("beginning", "each"),
    [
        ("verdict_word.", get_args(Verdict)),
        ("tolerance_word.", get_args(Verdict)),
        ("limit_word.", get_args(Verdict)),
        ("rotation.", get_args(Rotation)),
        ("direction.", get_args(Way)),
        ("element.", [k.replace(" ", "_") for k in KINDS]),
        ("position.", [p for p in POSITIONS if p]),
        ("stop.", ("in", "out")),
        ("way.", ("typed", "forces", "influence")),
        ("correction.", ("remove", "add")),
        ("proof_due.", ("residual", "reduction", "compensator")),
        ("proof_failed.", ("residual", "reduction", "compensator")),
    ],
)
def test_a_code_made_from_data_is_there_for_all_the_data_there_is(beginning, each):
    assert each and {beginning + e for e in each} <= set(catalogue("en"))


def test_every_finding_has_its_sentence():
    assert {f"finding.{code}" for code in findings()} - set(catalogue("en")) == set()


def test_a_finding_carries_the_values_of_its_sentence():
    for where, call in calls("finding_of"):
        code = call.args[0]
        if not isinstance(code, ast.Constant):
            continue
        needed = set(places(catalogue("en")[f"finding.{code.value!s}"]))
        evidence = call.args[3] if len(call.args) > 3 else ast.Dict([], [])
        always = evidence.left if isinstance(evidence, ast.BinOp) else evidence
        keys = always.keys if isinstance(always, ast.Dict) else []
        given = {k.value for k in keys if isinstance(k, ast.Constant)}
        assert needed <= given, where


def test_numbers_are_spelt_in_one_place():
    reason = Said("verdict.not_reached", {"test_rpm": 150_000.0, "highest_rpm": 98_765.4})
    assert in_words(reason) == "test speed 150,000 rpm was not reached: highest 98,765 rpm"
    thin = f"Prüfdrehzahl 150{THIN_SPACE}000 min⁻¹ nicht erreicht: höchste 98{THIN_SPACE}765 min⁻¹"
    assert in_words(reason, "de") == thin
    assert in_words(Said("verdict.covered", {"covered": 0.8}), "zh") == "仅测得转速范围的 80 %"
    assert in_words(Said("drawing.limit_gmm", {"limit_gmm": 0.021349})) == "limit 0.0213 g·mm"
    state = (
        Said("calibration.on", {"day": "2026-01-02"}),
        Said("calibration.certificate", {"certificate": "K-7, {x}"}),
        Said("calibration.past_due", {"day": "2026-03-01"}),
    )
    spanish = "calibrado el 2026-01-02, certificado K-7, {x}, VENCIDA desde 2026-03-01"
    assert in_words_each(state, ", ", "es") == spanish
    assert said_json("reason", reason) == {
        "reason": in_words(reason),
        "reason_said": {"code": reason.code, "values": reason.values},
    }


def test_a_value_that_is_missing_and_a_language_that_is_not_there_are_refused():
    with pytest.raises(KeyError):
        in_words(Said("verdict.covered"))
    with pytest.raises(BadInput, match="no language"):
        in_words(Said("verdict.nothing"), "xx")


def test_what_was_kept_before_there_were_codes_is_shown_as_it_was_said():
    old = "the words of then: 0.31 g, {x} and 5,000"
    assert kept(None, old) == as_it_is(old)
    assert all(in_words(kept(None, old), language) == old for language in LANGUAGES)
    assert kept(Said("verdict.of_a_newer_program"), old) == as_it_is(old)
    assert kept(Said("verdict.covered"), old) == as_it_is(old)  # its value was not kept
    now = Said("verdict.covered", {"covered": 0.5, "more": 1.0})
    assert kept(now, old) == now
    assert kept_each((), ("a", "b")) == (as_it_is("a"), as_it_is("b"))
    assert kept_each((now, Said("not.known")), ("a", "b")) == (now, as_it_is("b"))
