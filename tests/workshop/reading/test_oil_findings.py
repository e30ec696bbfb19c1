"""What is said of the oil."""

from dataclasses import dataclass, replace

import pytest
from loop.loop import model_of
from workshop.entries import CONDITIONS, run_of

from heavyspot.quantities.errors import UnreadableFile
from heavyspot.workshop.model.model_file import parse_model
from heavyspot.workshop.reading.kept import conditions_of
from heavyspot.workshop.reading.oil import oil_findings

MODEL = model_of("Larch 52", 150_000.0, 52.0).model_copy(
    update={"oil_temperature_c": (60.0, 90.0), "oil_pressure_kpa": (200.0, 400.0)}
)


@dataclass
class Oil:
    oil_temperature_c: float | None = None
    oil_pressure_kpa: float | None = None


def codes(oil, before=None):
    then = None
    if before is not None:
        run = replace(run_of(), conditions=CONDITIONS | {"recording": {"oil": before}})
        then = conditions_of(run)
    return [f.code for f in oil_findings(oil, MODEL, then)]


def test_oil_in_range_and_as_before_says_nothing():
    assert codes(Oil()) == codes(Oil(75, 300)) == []
    assert codes(Oil(75, 300), {"temperature_c": 70, "pressure_kpa": 310}) == []
    assert codes(Oil(), {"temperature_c": 70}) == []


def test_oil_out_of_range_or_changed_is_said():
    assert codes(Oil(45, 300)) == ["oil.out_of_range"]
    assert codes(Oil(45, 100)) == ["oil.out_of_range"] * 2
    assert codes(Oil(85, 300), {"temperature_c": 65}) == ["oil.not_as_before"]
    assert codes(Oil(75, 220), {"temperature_c": 75, "pressure_kpa": 390}) == ["oil.not_as_before"]


def test_a_range_upside_down_is_refused():
    content = MODEL.model_dump(exclude_unset=True) | {"oil_temperature_c": (90.0, 60.0)}
    with pytest.raises(UnreadableFile, match="not below"):
        parse_model(content, name="x")
