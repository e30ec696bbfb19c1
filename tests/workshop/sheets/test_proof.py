"""A stranger with a sheet and its proof, and nothing else, sees that the sheet stands in the ledger."""

import json
from dataclasses import replace

import pytest
from workshop.keep.time_stamps import service
from workshop.station.two_houses import spun

from heavyspot.quantities.errors import NotThere, UnreadableFile
from heavyspot.workshop.heads import new_head
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.sheets.issue import issue_sheet
from heavyspot.workshop.sheets.proof import check_proof, proof_from, prove_sheet
from heavyspot.workshop.sheets.signature import check_sheet
from heavyspot.workshop.shop import Workshop


@pytest.fixture
def sheet(shop, tmp_path):
    spun(shop, "P-1")
    issued = issue_sheet(shop, "P-1", tmp_path / "sheet.pdf")
    add_piece(shop, "P-2", "Larch 52")
    return issued.number, check_sheet((tmp_path / "sheet.pdf").read_bytes())


def test_a_sheet_is_proved_without_the_ledger(shop, sheet):
    number, check = sheet
    text = prove_sheet(shop, number).as_text()
    assert "Tidal" not in text and "P-2" not in text  # of nobody else's entry
    told = check_proof(check, proof_from(text))
    assert told.good and f"of {shop.book.head()[0]:,} in the ledger" in told.text


def test_a_stamped_head_is_preferred_and_told(shop, sheet, tmp_path):
    number, check = sheet
    with service(tmp_path / "tsa") as (url, _):
        (shop.folder / "shop.toml").write_text(f'timestamp_url = "{url}"\n')
        new_head(shop)
        add_piece(shop, "P-3", "Larch 52")
        told = check_proof(check, prove_sheet(shop, number))
    assert told.good and "Harbour Time stamped it at 20" in told.text


def test_any_change_of_a_proof_is_seen(shop, sheet):
    number, check = sheet
    proof = prove_sheet(shop, number)
    under, head = proof.inclusion, proof.head
    other = "ab" * 32
    entry = json.loads(under.entry)
    changed = [
        replace(proof, inclusion=replace(under, **change))
        for change in (
            {"number": under.number - 1}, {"size": under.size + 1}, {"before": other}, {"table": "runs"},
            {"path": ()}, {"path": (other, *under.path[1:])}, {"path": ("zz",)},
            {"entry": json.dumps(entry | {"number": "2026-00099"})}, {"entry": "[]"}, {"entry": "nothing"},
            {"entry": json.dumps(entry | {"at": "2020"})},
        )
    ] + [
        replace(proof, head=replace(head, **change))
        for change in (
            {"root": other}, {"at": "2020"}, {"number": 1}, {"signature": ""}, {"certificate": "x"},
            {"stamp": "AAAA"},
        )
    ]  # fmt: skip
    assert [check_proof(check, p).good for p in changed] == [False] * len(changed)


def test_somebody_elses_root_proves_nothing(shop, sheet, tmp_path):
    """A forger's own ledger, with the same entry in it and a key of its own."""
    number, check = sheet
    proof = prove_sheet(shop, number)
    other = Workshop(tmp_path / "other")
    forged = new_head(other)[0]
    other.close()
    told = check_proof(
        check, replace(proof, head=replace(forged, root=proof.head.root, number=proof.head.number))
    )
    assert not told.good and "not signed" in told.text


def test_what_is_not_there_is_said(shop):
    with pytest.raises(NotThere):
        prove_sheet(shop, "2026-00001")
    with pytest.raises(UnreadableFile):
        proof_from("{}")
