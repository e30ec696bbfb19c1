"""Tables of amplitude and angle against speed, as rigs and people write them."""

import pytest
import xlsxwriter
from hypothesis import given
from hypothesis import strategies as st

from heavyspot import BadInput, HeavyspotError, UnreadableFile
from heavyspot.sources.curve_reading import StatedTable, table_from_file, table_from_pasted
from heavyspot.sources.curve_table import (
    CurveTable,
    peak_alone,
    read_table,
    table_from_text,
    write_table,
)

PEAK = StatedTable("g", "peak")
SAME = ((40_000.0, 50_000.0, 60_000.0), ((0.12, 0.2, 0.31),), ((35.0, 50.0, 80.0),))

LAYOUTS = {
    "blanks": "40000 0.12 35\n50000 0.2 50\n60000 0.31 80",
    "tabs, decimal comma": "40000\t0,12\t35\n50000\t0,20\t50\n60000\t0,31\t80\n",
    "blanks, grouped speeds": "40.000 0,12 35\n50.000 0,20 50\n60.000 0,31 80",
    "commas": "40000,0.12,35\n50000,0.20,50\n60000,0.31,80",
    "commas and blanks": "40000, 0.12, 35\n50000, 0.20, 50\n60000, 0.31, 80",
    "semicolons, grouped by a blank": "40 000;0,12;35\n50 000;0,2;50\n60 000;0,31;80",
    "German": "Drehzahl [U/min];Winkel;Amplitude g Spitze\n40.000;35°;0,12\n50.000;50°;0,2\n60.000;80°;0,31",
    "French": "Vitesse tr/min;Accélération g crête;Phase\n40000;0,12;35\n50000;0,2;50\n60000;0,31;80",
    "Spanish": "Ángulo;Velocidad rpm;Amplitud g pico\n35;40000;0,12\n50;50000;0,2\n80;60000;0,31",
    "Chinese": "转速;振幅 g 峰值;相位\n40000;0.12;35\n50000;0.2;50\n60000;0.31;80",
    "a row of units": "Stand 4\nSpeed;Vib;Phase\nkrpm;g peak;deg\n40;0.12;35\n50;0.2;50\n60;0.31;80",
    "turns a second": "speed Hz;g pk;phase\n666.6666666666666;0.12;35\n833.3333333333334;0.2;50\n1000;0.31;80",
    "a column of its own": "speed rpm;g peak;angle;remark\n40000;.12;35;ok\n50000;.2;50;\n60000;.31;80;warm",
}


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_one_table_in_any_layout(tmp_path, layout, encoding):
    path = tmp_path / "rig.csv"
    path.write_text(LAYOUTS[layout], encoding=encoding)
    for table in (table_from_file(path, PEAK), table_from_pasted(LAYOUTS[layout], PEAK)):
        assert table.speed_rpm == pytest.approx(SAME[0])
        assert (table.amplitude, table.angle_deg) == SAME[1:]
        assert (table.unit, table.measure, table.step) == ("g", "peak", 0.01)
    if layout == "a column of its own":
        assert "warm" in table.note


def test_a_workbook_reads_as_its_text(tmp_path):
    with xlsxwriter.Workbook(str(tmp_path / "rig.xlsx")) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["Speed [rpm]", "Amplitude [m/s² rms]", "Phase [deg]"])
        for i, row in enumerate(zip(SAME[0], SAME[1][0], SAME[2][0], strict=True), start=1):
            sheet.write_row(i, 0, row)
    table = table_from_file(tmp_path / "rig.xlsx")
    assert (table.speed_rpm, table.amplitude, table.angle_deg) == SAME
    # 0.12 m/s² rms is 0.12 * sqrt(2) / 9.80665 g, zero to peak
    assert 0.12 * table.in_g == pytest.approx(0.0173053, rel=1e-5)


@pytest.mark.parametrize(
    ("measure", "factor"), [("peak", 1), ("rms", 2**0.5), ("peak_to_peak", 0.5)]
)
def test_a_sine_s_measures(measure, factor):
    assert peak_alone(1.0, 1e5, measure=measure).in_g == pytest.approx(factor)


@pytest.mark.parametrize(
    ("text", "stated", "said"),
    [
        ("40000 0.1\n50000 0.2", StatedTable(measure="peak"), "which unit"),
        ("40000 0.1\n50000 0.2", StatedTable(unit="g"), "zero to peak, rms or peak to peak"),
        ("speed;g rms\n40000;0.1", PEAK, "rms, and peak is stated"),
        ("phase;amp;n\n10;.2;40000\n20;.3;50000", PEAK, "which columns"),
        ("foo;bar;baz\n40000;.2;3", PEAK, "which columns"),
        ("1 2 3 4\n5 6 7 8", PEAK, "4 columns without headings"),
        ("speed;mm/s\n40000;1.2", PEAK, "no acceleration"),
        ("speed;g\n40000;\n50000;.2", PEAK, "line 2: there is no amplitude"),
        ("speed;g\n40000;.1\n50000;abc", PEAK, "line 3: 'abc' is no amplitude"),
        ("hello", PEAK, "no row of numbers"),
        ("", PEAK, "no row of numbers"),
        ("5 0.1\n6 0.2", PEAK, "a speed of 5 rpm"),
        ("40000 -0.1\n50000 .2", PEAK, "an amplitude of -0.1 g"),
        ("40000 0.1 400\n50000 .2 3", PEAK, "an angle of 400"),
        ("speed;g;g;phase\n40000;.1;.2;30", PEAK, "2 columns of amplitudes and 1 of angles"),
        ("40000 nan\n50000 .2\n60000 .3", PEAK, "amplitude of nan"),
    ],
)
def test_a_bad_table_is_said_and_nothing_is_guessed(text, stated, said):
    with pytest.raises((BadInput, UnreadableFile), match=said):
        table_from_pasted(text, stated)


def test_a_speed_that_stands_twice_is_a_question_and_up_and_down_are_two_passes():
    up_down = CurveTable((4e4, 5e4, 6e4, 5e4, 4e4), ((1.0, 2.0, 3.0, 2.0, 1.0),), "g", "peak")
    assert up_down.passes() == ((0, 1, 2), (4, 3))
    assert CurveTable((6e4, 4e4, 5e4), ((1.0, 2.0, 3.0),), "g", "peak").passes() == ((1, 2, 0),)
    with pytest.raises(BadInput, match="stands twice"):
        CurveTable((4e4, 4e4), ((1.0, 2.0),), "g", "peak").passes()


words = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), max_size=12)


@given(
    rows=st.lists(
        st.tuples(st.floats(60, 1e6), st.floats(0, 1000), st.floats(-360, 360)), min_size=1, max_size=12
    ),
    rig=words, note=st.text(st.characters(codec="utf-8", exclude_characters="\r"), max_size=40),
    angles=st.booleans(),
)  # fmt: skip
def test_what_is_kept_comes_back_number_by_number(rows, rig, note, angles):
    speed, amplitude, angle = zip(*rows, strict=True)
    table = CurveTable(
        speed,
        (amplitude,),
        "g",
        "peak",
        (angle,) if angles else None,
        rig=rig,
        note=note,
        step=0.01,
    )
    assert table_from_text(table.as_text()) == table


def test_a_kept_table_that_was_changed_is_no_table(tmp_path):
    path = tmp_path / "one.curve"
    table = table_from_pasted(LAYOUTS["blanks"], PEAK)
    write_table(table, path)
    assert read_table(path) == table
    assert table_from_file(path) == table
    text = path.read_text(encoding="utf-8")
    for broken in (text[: len(text) // 2], text.replace("0.12", "x"), "", "heavyspot curve 1\n"):
        with pytest.raises(HeavyspotError):
            table_from_text(broken)
