"""Cells, headers and names as people write them."""

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from heavyspot.workshop.old_book.cells import (
    Order,
    as_date,
    as_peak,
    as_speed,
    as_text,
    as_verdict,
    date_order,
)
from heavyspot.workshop.old_book.customers import merge_customers
from heavyspot.workshop.old_book.layout import guess_layout

TODAY = datetime.date(2026, 11, 25)


def test_dates_as_people_write_them():
    for text in (
        "3.4.2019",
        "03-04-2019",
        "2019-04-03",
        "3 Apr 2019",
        "3. avril 2019",
        "3 abr. 19",
        "Apr 3, 2019",
    ):
        assert as_date(text, "dmy", today=TODAY) == "2019-04-03", text
    assert as_date("03/04/2019", "mdy", today=TODAY) == "2019-03-04"
    assert as_date("3. März 2019", "", today=TODAY) == "2019-03-03"
    assert (
        as_date("03.04.2019", "mdy", today=TODAY) == "2019-04-03"
    )  # with points the day comes first
    # ECMA-376 part 1, 18.17.4.1 (1900 date base): serial 40,000 is 6 July 2009
    assert as_date(40000.0, "", today=TODAY) == "2009-07-06"
    for cell in ("31.02.2019", "soon", "2031-01-01", "1.1.1890", 7.0, "12 Smarch 2019"):
        with pytest.raises(ValueError, match="date"):
            as_date(cell, "dmy", today=TODAY)


@given(st.dates(datetime.date(1951, 1, 1), TODAY))
def test_any_date_reads_back_in_any_order(day):
    written: dict[Order, str] = {"dmy": "%d/%m/%Y", "mdy": "%m/%d/%Y", "ymd": "%Y/%m/%d"}
    for order, text in written.items():
        assert as_date(day.strftime(text), order, today=TODAY) == day.isoformat()


def test_the_order_of_dates_is_told_or_asked():
    assert date_order(["03/04/2019", "14/03/2019"]) == "dmy"
    assert date_order(["03/04/2019", "03/14/2019"]) == "mdy"
    assert date_order(["03.04.2019"]) == "dmy"
    assert date_order(["2019-04-03", None, "5/5/2019"]) == ""
    assert date_order(["03/04/2019"]) is None
    assert date_order(["14/03/2019", "03/14/2019"]) is None  # both: somebody has to look


def test_speeds_peaks_verdicts():
    for text in (
        "150k",
        "150 K rpm",
        "150.000",
        "150,000",
        "150'000 U/min",
        "150 000",
        "150",
        150.0,
        150000.0,
        "150,0k",
    ):
        assert as_speed(text) == 150_000, text
    assert as_speed("87,5k") == 87_500
    for text in ("fast", "2,000,000", "0"):
        with pytest.raises(ValueError, match="speed"):
            as_speed(text)
    assert as_peak("0,35", "") == (0.35, "") and as_peak("1.234", "") == (1.234, "")
    assert as_peak("< 0.1 g", "") == (0.1, "") and as_peak(9.80665, "m/s2") == (1.0, "")
    assert as_peak("4,5 mm/s", "") == (None, "4.5 mm/s")
    with pytest.raises(ValueError):
        as_peak("much", "")
    assert as_verdict("  OK!") == as_verdict(1.0) == as_verdict("i.O.") == "pass"
    assert as_verdict("N.i.O.") == as_verdict("nok") == "fail"
    with pytest.raises(ValueError):
        as_verdict("so so")
    assert as_text(1234567.0) == "1234567" and as_text(0.5) == "0.5"


@given(st.floats(0.001, 400), st.sampled_from([".", ","]), st.integers(1, 4))
def test_any_peak_reads_back_with_either_decimal_sign(value, sign, digits):
    text = f"{value:.{digits}f}"
    assert as_peak(text.replace(".", sign), "")[0] == float(text)


def test_customers_are_one_where_only_the_spelling_differs():
    merged, alike = merge_customers(
        ["Nordhafen Motor", "NORDHAFEN MOTORS", "Nordhafen Motor", "Nordhafen-Motor GmbH & Co. KG", "Tidal Haulge"],
        ["Tidal Haulage"],
    )  # fmt: skip
    assert set(merged) == {"NORDHAFEN MOTORS", "Nordhafen-Motor GmbH & Co. KG"}
    assert set(merged.values()) == {"Nordhafen Motor"}
    assert alike == [("Tidal Haulge", "Tidal Haulage")]  # asked, never merged


def test_layouts_in_four_languages():
    wanted = {"serial", "date", "customer", "model", "speed_rpm", "last_g", "operator", "note"}
    for headers in (
        ["Serial", "Date", "Customer", "Model", "Max. speed", "After", "Operator", "Remarks"],
        ["Serien-Nr.", "Datum", "Kunde", "Typ", "Drehzahl", "Nachher", "Prüfer", "Bemerkung"],
        [
            "Numéro de série",
            "Date",
            "Client",
            "Modèle",
            "Vitesse",
            "Après",
            "Opérateur",
            "Remarque",
        ],
        [
            "Número de serie",
            "Fecha",
            "Cliente",
            "Modelo",
            "Velocidad",
            "Después",
            "Operario",
            "Notas",
        ],
    ):
        assert set(guess_layout(headers).columns) == wanted, headers
