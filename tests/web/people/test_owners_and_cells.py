"""The last owner stays one; no cell of a table becomes a formula, whichever separator a spreadsheet is set to."""

import csv
import io

import pytest

from heavyspot.quantities.errors import BadInput
from heavyspot.workshop.people import people_of
from heavyspot.workshop.rows_text import rows_csv
from heavyspot.workshop.shop import Workshop

PASSWORD = "a sentence to remember"
STARTS = ("=", "+", "-", "@", "\t", "\r", "\uff1d")


def test_the_last_owner_stays_one(tmp_path):
    shop = Workshop(tmp_path)
    people = people_of(shop)
    people.set_user("Ida", "owner", PASSWORD)
    for act in (
        lambda: people.set_user("Ida", "technician", PASSWORD, by="Ida"),
        lambda: people.set_user(" Ida ", "inspector", PASSWORD, by="Ida"),
        lambda: people.end_user("Ida", by="Ida"),
    ):
        with pytest.raises(BadInput, match="last owner"):
            act()
    people.set_user("Ida", "owner", PASSWORD + "!")  # a new password is no demotion
    people.set_user("Jon", "owner", PASSWORD)
    people.set_user("Ida", "technician", PASSWORD)
    with pytest.raises(BadInput, match="last owner"):
        people.set_user("Jon", "technician", PASSWORD)
    shop.close()


ATTACKS = (
    "=1+1", "+1", "-1", "@x", "\t=1", "\r=1", "a;=1+1", 'a; =1+1', 'a;"=1+1', "a\t=1", "a\n=1", "a,=1", "a;;-1",
    "a|=1", "\uff1d1", "note;@SUM(A1)", "  =1", "\"=1", "x\";=1",
)  # fmt: skip


@pytest.mark.parametrize("text", ATTACKS)
@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_no_cell_begins_a_formula(text, separator):
    made = rows_csv([{"serial": "S-1", "note": text}], ("serial", "note")).decode()
    for quoted in (csv.QUOTE_MINIMAL, csv.QUOTE_NONE):
        reader = csv.reader(io.StringIO(made, newline=""), delimiter=separator, quoting=quoted)
        for cell in (c for row in reader for c in row):
            assert not cell.strip().lstrip('"').strip().startswith(STARTS), cell


def test_plain_text_and_numbers_stay():
    row = {"a": "L52-0001, ring 3; ok", "b": -1.5, "c": None, "d": "5-6 mm"}
    got = list(csv.reader(io.StringIO(rows_csv([row], tuple(row)).decode())))[1]
    assert got == ["L52-0001, ring 3; ok", "-1.5", "", "5-6 mm"]
