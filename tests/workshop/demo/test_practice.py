"""What is simulated is never taken for a measurement: not in a ledger, not by the next cut, not on a sheet."""

import numpy as np
import pytest
from sheet.pdf_text import text_of
from workshop.cartridge.test_spin import MODEL, balance

from heavyspot.quantities.errors import BadInput
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import RIG
from heavyspot.workshop.demo.practice import practice_beside
from heavyspot.workshop.demo.rigs import DEMO_ROTORS, furnish
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model import find_model
from heavyspot.workshop.model.models import add_model, model_names
from heavyspot.workshop.model.other_units import lessons_of
from heavyspot.workshop.rig.simulated import add_simulated_rigs, is_practice
from heavyspot.workshop.rotor.models import add_rotor_model
from heavyspot.workshop.sheets.issue import issue_sheet
from heavyspot.workshop.sheets.verify import verify_sheet
from heavyspot.workshop.shop import Workshop


@pytest.fixture
def own(tmp_path):
    with Workshop(tmp_path / "data") as shop:
        add_model(shop, MODEL)
        add_rotor_model(shop, DEMO_ROTORS[0])
        add_piece(shop, "A-1", "Larch 52", customer="Fjord Haulage")
        yield shop


def test_a_shop_s_own_ledger_takes_no_simulated_rig(own):
    for put_in in (furnish, add_simulated_rigs):
        with pytest.raises(BadInput, match="own"):
            put_in(own)
    assert not is_practice(own) and model_names(own) == ["Larch 52"]


def test_one_practises_beside_it_with_its_models_as_they_stand(own):
    beside = practice_beside(own.folder)
    assert beside.parent == own.folder
    add_model(own, {**MODEL, "test_speed_rpm": 140_000})
    assert practice_beside(own.folder) == beside  # the same again, with what has changed
    with Workshop(beside) as practice:
        assert is_practice(practice)
        assert find_model(practice, "Larch 52").test_speed_rpm == 140_000
        assert practice.book.models.names("rotor") == [DEMO_ROTORS[0]["name"]]
        assert not practice.book.jobs.pieces()
    assert practice_beside(beside) == beside  # a practice ledger is its own
    assert own.book.jobs.piece("A-1") is not None and not is_practice(own)


def test_a_simulated_run_teaches_no_real_rig_and_its_sheet_says_what_it_is(own, tmp_path):
    balance(own, "A-1", make_cartridge("Larch 52", 3, peak_g=1.2), np.random.default_rng(0))
    model = find_model(own, "Larch 52")
    assert lessons_of(own.book, model, not_piece="", rig=RIG)
    assert not lessons_of(own.book, model, not_piece="", rig="High 1")
    issue_sheet(own, "A-1", tmp_path / "s.pdf")
    said = text_of((tmp_path / "s.pdf").read_bytes(), tmp_path)
    assert "SIMULATED: NOT A MEASUREMENT" in said
    told = verify_sheet((tmp_path / "s.pdf").read_bytes(), shop=own)
    assert told.answer == "genuine" and told.text.startswith("It is of a simulated rig")
