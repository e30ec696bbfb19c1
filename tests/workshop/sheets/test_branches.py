"""A ledger that goes on from an older backup: no number twice, and no genuine sheet called altered."""

import re

import pytest
from workshop.sheets.test_verify import a_shop

from heavyspot.workshop.keep.backup import back_up, restore
from heavyspot.workshop.keep.ledger_state import branches_of
from heavyspot.workshop.rotor.measuring import measure_typed
from heavyspot.workshop.sheets.issue import issue_rotor_sheet
from heavyspot.workshop.sheets.signature import check_sheet
from heavyspot.workshop.sheets.verify import verify_sheet
from heavyspot.workshop.shop import Workshop


def issued(shop, path, why="again"):
    made = issue_rotor_sheet(shop, "W-1", path, why=why)
    return made.number, path.read_bytes()


@pytest.fixture
def told(tmp_path):
    """A shop with a sheet before its backup and one after it, restored from that backup."""
    shop = a_shop(tmp_path / "data")
    before = issued(shop, tmp_path / "before.pdf")
    back_up(shop, tmp_path / "copy")
    after = issued(shop, tmp_path / "after.pdf")
    shop.close()
    done = restore(tmp_path / "copy", tmp_path / "new")
    back = Workshop(tmp_path / "new")
    yield back, before, after, done
    back.close()


def test_a_restored_store_has_a_new_branch_and_numbers_never_repeat(told, tmp_path):
    back, before, after, done = told
    (branch,) = branches_of(back)
    assert branch.name == done.branch and re.fullmatch("[2-9A-HJ-NP-Z]{4}", branch.name)
    assert back.book.exchange.own_id() == branch.store
    new = issued(back, tmp_path / "new.pdf")
    assert re.fullmatch(rf"[0-9]{{4}}-{branch.name}-00001", new[0])
    assert len({before[0], after[0], new[0]}) == 3
    assert issued(back, tmp_path / "newer.pdf")[0].endswith(f"-{branch.name}-00002")
    assert list(back.book.check_chain()) == []


def test_no_genuine_sheet_becomes_altered(told, tmp_path):
    back, before, after, done = told
    assert verify_sheet(before[1], shop=back).answer == "genuine"
    answer = verify_sheet(after[1], shop=back)  # the customer has it, the restored ledger does not
    assert answer.answer == "signed" and done.branch in answer.text and "restored" in answer.text
    new = issued(back, tmp_path / "new.pdf")
    assert verify_sheet(new[1], shop=back).answer == "genuine"
    assert verify_sheet(before[1], shop=back).answer == "superseded"
    assert verify_sheet(after[1], shop=back).answer == "signed"
    forged = after[1].replace(b"W-1", b"W-2")
    assert verify_sheet(forged, shop=back).answer == "altered" or forged == after[1]


def test_a_sheet_of_no_branch_is_still_not_ours(told, tmp_path):
    """The same key, but issued after the restore, under a number this ledger never gave."""
    back, *_ = told
    other = restore(tmp_path / "copy", tmp_path / "other")
    rehearsal = Workshop(tmp_path / "other")
    number, pdf = issued(rehearsal, tmp_path / "rehearsal.pdf")
    rehearsal.close()
    assert (
        other.branch != branches_of(back)[0].name
    )  # a rehearsal and the real one never share numbers
    assert check_sheet(pdf).intact and other.branch in number
    assert verify_sheet(pdf, shop=back).answer == "not ours"


def test_a_restore_of_a_restore_goes_on(told, tmp_path):
    back, *_ = told
    issued(back, tmp_path / "n.pdf")
    back_up(back, tmp_path / "copy2")
    measure_typed(back, "W-1", [0.03, 0.01], [310, 120])
    restore(tmp_path / "copy2", tmp_path / "third")
    third = Workshop(tmp_path / "third")
    names = [b.name for b in branches_of(third)]
    assert len(set(names)) == 2 and third.book.exchange.own_id() == branches_of(third)[-1].store
    assert f"-{names[-1]}-00001" in issued(third, tmp_path / "t.pdf")[0]
    third.close()
