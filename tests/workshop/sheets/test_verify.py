"""Genuine, altered, superseded, not ours: told on the shop's computer and on another one."""

import asyncio
import threading
from concurrent.futures import ThreadPoolExecutor

import pikepdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heavyspot.quantities.errors import LedgerFault, UnreadableFile
from heavyspot.workshop.demo.rigs import DEMO_ROTORS
from heavyspot.workshop.rotor.measuring import measure_typed
from heavyspot.workshop.rotor.models import add_rotor, add_rotor_model
from heavyspot.workshop.sheets.issue import issue_rotor_sheet
from heavyspot.workshop.sheets.signature import check_sheet
from heavyspot.workshop.sheets.verify import verify_sheet
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.shop_key import CERTIFICATE, KEY, fingerprint


def a_shop(folder):
    shop = Workshop(folder)
    add_rotor_model(shop, DEMO_ROTORS[0])
    add_rotor(shop, "W-1", DEMO_ROTORS[0]["name"], customer="Tidal Works")
    measure_typed(shop, "W-1", [0.02, 0.01], [310, 120], by="Ida")
    return shop


class Issued:
    """A shop and a sheet of it; unpacks to both, and prints short in a failing example."""

    def __init__(self, shop, pdf):
        self.pair = shop, pdf

    def __iter__(self):
        return iter(self.pair)


@pytest.fixture(scope="module")
def issued(tmp_path_factory):
    folder = tmp_path_factory.mktemp("verify")
    shop = a_shop(folder / "data")
    issue_rotor_sheet(shop, "W-1", folder / "w.pdf")
    yield Issued(shop, (folder / "w.pdf").read_bytes())
    shop.close()


def test_a_genuine_sheet(issued):
    shop, pdf = issued
    assert verify_sheet(pdf, shop=shop).answer == "genuine"
    known = fingerprint(shop.book.folder)
    assert verify_sheet(pdf, known_fingerprint=known.upper()).answer == "genuine"
    there = verify_sheet(pdf)
    assert there.answer == "signed" and there.check.signed_by == "Turbocharger workshop"
    assert there.check.data["serial"] == "W-1"
    assert oct((shop.book.folder / KEY).stat().st_mode & 0o777) == "0o600"


@settings(max_examples=60, deadline=None)
@given(where=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 7))
def test_one_flipped_bit_anywhere_is_found(issued, where, bit):
    shop, pdf = issued
    changed = bytearray(pdf)
    at = 8 + int(where * (len(pdf) - 8))
    changed[at] ^= 1 << bit
    answer = verify_sheet(bytes(changed), shop=shop)
    # bits of the signature's own padding carry nothing; everything else must show
    inside = pdf.rfind(b"/Contents <") < at < pdf.rfind(b"/ByteRange")
    assert answer.answer in ("altered", "not ours") or inside
    assert answer.answer != "genuine" or inside


def test_a_swapped_attachment_is_found(issued, tmp_path):
    _, pdf = issued
    (tmp_path / "w.pdf").write_bytes(pdf)
    with pikepdf.open(tmp_path / "w.pdf") as doc:
        stream = doc.Root.Names.EmbeddedFiles.Names[1].EF.F
        stream.write(stream.read_bytes().replace(b'"W-1"', b'"W-9"'))
        doc.save(tmp_path / "x.pdf")
    answer = verify_sheet((tmp_path / "x.pdf").read_bytes())
    assert answer.answer == "altered" and answer.text


def test_something_added_after_signing_is_found(issued):
    _, pdf = issued
    assert verify_sheet(pdf + b"\n% more\n").answer == "altered"


def test_another_shops_sheet_is_not_ours(issued, tmp_path):
    shop, _ = issued
    other = a_shop(tmp_path / "other")
    issue_rotor_sheet(other, "W-1", tmp_path / "o.pdf")
    other.close()
    assert verify_sheet((tmp_path / "o.pdf").read_bytes(), shop=shop).answer == "not ours"


def test_a_newer_sheet_takes_its_place(tmp_path):
    shop = a_shop(tmp_path / "data")
    issue_rotor_sheet(shop, "W-1", tmp_path / "one.pdf")
    one = (tmp_path / "one.pdf").read_bytes()
    assert verify_sheet(one, shop=shop).answer == "genuine"
    measure_typed(shop, "W-1", [0.03, 0.01], [310, 120])
    issue_rotor_sheet(shop, "W-1", tmp_path / "two.pdf")
    told = verify_sheet(one, shop=shop)
    assert told.answer == "superseded" and "00002" in told.text
    assert verify_sheet((tmp_path / "two.pdf").read_bytes(), shop=shop).answer == "genuine"
    shop.close()


def test_a_sheet_of_before_a_rewritten_ledger_tells(tmp_path):
    import sqlite3

    shop = a_shop(tmp_path / "data")
    issue_rotor_sheet(shop, "W-1", tmp_path / "one.pdf")
    with sqlite3.connect(tmp_path / "data/ledger.sqlite") as c:
        c.execute("update chain set digest = 'made anew ' || number")
    assert "rewritten" in verify_sheet((tmp_path / "one.pdf").read_bytes(), shop=shop).text
    shop.close()


def test_bad_files_and_half_a_key_are_refused(tmp_path):
    with pytest.raises(UnreadableFile, match="no PDF"):
        check_sheet(b"hello")
    assert not check_sheet(b"%PDF-1.7\nnothing more").intact
    shop = a_shop(tmp_path / "data")
    (tmp_path / "data" / CERTIFICATE).write_text("x")
    with pytest.raises(LedgerFault, match="only one"):
        issue_rotor_sheet(shop, "W-1", tmp_path / "w.pdf")
    shop.close()


def test_sheets_issued_at_the_same_moment_have_numbers_of_their_own(tmp_path):
    shop = a_shop(tmp_path / "data")
    made = []

    def issue(k):
        made.append(issue_rotor_sheet(shop, "W-1", tmp_path / f"{k}.pdf", why=f"copy {k}").number)

    threads = [threading.Thread(target=issue, args=(k,)) for k in range(8)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert len(set(made)) == 8
    told = [check_sheet((tmp_path / f"{k}.pdf").read_bytes()) for k in range(8)]
    assert all(c.intact for c in told) and {c.data["number"] for c in told} == set(made)
    assert list(shop.book.check_chain()) == []
    shop.close()


def test_a_sheet_is_issued_and_checked_inside_an_event_loop(tmp_path):
    """As in a notebook."""
    shop = a_shop(tmp_path / "data")

    async def notebook():
        issue_rotor_sheet(shop, "W-1", tmp_path / "n.pdf")
        return check_sheet((tmp_path / "n.pdf").read_bytes())

    with ThreadPoolExecutor(1) as apart:  # this worker may run a browser, and so a loop of its own
        assert apart.submit(lambda: asyncio.run(notebook())).result().intact
    shop.close()
