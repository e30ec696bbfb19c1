"""What is refused on a page is said in its reader's language: a code with values, not an English sentence."""

import ast
from pathlib import Path

import pytest

import heavyspot
from heavyspot.quantities import errors
from heavyspot.quantities.errors import BadInput, HeavyspotError
from heavyspot.quantities.said import LANGUAGES, Said, in_words

SOURCE = Path(heavyspot.__file__).parent
KINDS = {
    name
    for name, kind in vars(errors).items()
    if isinstance(kind, type) and issubclass(kind, HeavyspotError)
}
ROOMS = ("web", "workshop", "quantities", "ledger/entries")
"""Where most of what a page refuses is refused; beside them stand files, devices and the shell."""

STILL_ENGLISH = {
    "quantities/angles.py", "quantities/dates.py", "quantities/errors.py", "quantities/said.py",
    "quantities/units.py", "web/api/curves.py", "web/api/rotor.py", "web/api/spins.py",
    "web/api/station.py", "web/app.py", "web/contract/codes.py", "web/contract/cursors.py", "web/once.py",
    "web/operation/log.py", "web/serving.py", "workshop/agent/agent.py", "workshop/agent/line.py",
    "workshop/agent/live.py",
    "workshop/agent/sending.py", "workshop/agent/spins.py", "workshop/bench/benches.py",
    "workshop/bench/set_up.py", "workshop/cartridge/tabled/spinning.py", "workshop/day/book_pages.py",
    "workshop/demo/simulate.py", "workshop/flow/bench.py", "workshop/flow/leak.py", "workshop/flow/live.py",
    "workshop/heads.py", "workshop/held.py", "workshop/hooks/address.py", "workshop/hooks/registry.py",
    "workshop/hooks/told.py", "workshop/hooks/waiting.py", "workshop/incoming/facts.py",
    "workshop/incoming/uploads.py", "workshop/incoming/watched.py", "workshop/insight/store.py",
    "workshop/keep/backup.py", "workshop/keep/long_work.py", "workshop/keep/reread.py",
    "workshop/keep/retention.py", "workshop/keep/upgrading.py", "workshop/keep/workers.py",
    "workshop/model/card.py", "workshop/model/model_file.py", "workshop/old_book/bring.py",
    "workshop/old_book/incoming.py", "workshop/old_book/layout.py", "workshop/post/sending.py",
    "workshop/reading/reading.py", "workshop/rig/angle_check.py", "workshop/rig/input_delay.py",
    "workshop/rig/kept_rig.py", "workshop/rig/simulated.py", "workshop/rotor/model_file.py",
    "workshop/rotor/vectors.py", "workshop/sheets/head.py", "workshop/sheets/look.py",
    "workshop/sheets/proof.py", "workshop/sheets/signature.py", "workshop/shop_file.py",
    "workshop/shop_key.py", "workshop/stamps.py", "workshop/station/answers.py",
    "workshop/station/arrivals.py", "workshop/station/heads.py", "workshop/station/line.py",
    "workshop/station/station.py", "workshop/stored.py",
}  # fmt: skip
"""Modules whose refusals are one language's yet: this list only grows shorter."""


def english_in(path):
    """The refusals of a module that are plain text in it: message or remedy."""
    for node in ast.walk(ast.parse(path.read_text())):
        if not isinstance(node, ast.Call) or getattr(node.func, "id", "") not in KINDS:
            continue
        remedies = [k.value for k in node.keywords if k.arg == "remedy"]
        for said in (*node.args[:1], *remedies):
            if any(_is_text(n) for n in _plainly(said)):
                yield node.lineno


def _plainly(said):
    """What of an argument is text itself, not a value within a call."""
    if isinstance(said, ast.Call):
        return []
    return ast.walk(said) if isinstance(said, ast.BinOp) else [said, *getattr(said, "values", ())]


def _is_text(node):
    return (
        isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value.strip() != ""
    )


def test_the_rooms_that_pages_come_from_refuse_by_code_but_for_a_list_that_shrinks():
    found = {
        str(path.relative_to(SOURCE))
        for room in ROOMS
        for path in sorted((SOURCE / room).rglob("*.py"))
        if any(english_in(path))
    }
    assert found - STILL_ENGLISH == set(), "say it by a code of refusals_en.toml"
    assert STILL_ENGLISH - found == set(), "take it off the list"


def test_what_is_told_to_programs_stays_english_and_a_page_has_its_code():
    told = Said("refusal.there_is_no_piece", {"serial": "T-9"})
    fault = BadInput(told, remedy=Said("remedy.say_why"))
    assert fault.message == 'There is no piece "T-9".' and str(fault).endswith("Say why.")
    assert fault.told == told and in_words(told, "de") == "Ein Stück „T-9“ gibt es nicht."
    plain = BadInput("As it was.", remedy="Look.")
    assert plain.told == plain.message == "As it was." and plain.to_do == "Look."


@pytest.mark.parametrize("language", list(LANGUAGES))
def test_a_number_in_a_refusal_is_named_and_spelt_as_everywhere(language):
    from heavyspot.quantities.checks import within

    with pytest.raises(BadInput) as caught:
        within("depth", 12_000.0, 0.0, 0.8, "mm")
    assert isinstance(caught.value.told, Said)
    text = in_words(caught.value.told, language)
    assert "0.8" in text and "mm" in text
    assert in_words(Said("quantity.depth"), language) in text
