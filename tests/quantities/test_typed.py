"""Numbers as they are typed at a bench: a comma for a point, and a refusal at its field."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from heavyspot.quantities.errors import BadInput
from heavyspot.quantities.typed import to_float, typed_number, typed_or_none


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_comma_reads_as_a_point(value):
    text = repr(value)
    assert to_float(text.replace(".", ",")) == value == typed_number("depth", f"  {text} ")


@pytest.mark.parametrize("text", ["", "abc", "nan", "inf", "1.2.3", "1 2"])
def test_what_is_no_finite_number_is_refused_by_its_name(text):
    with pytest.raises(BadInput, match="depth"):
        typed_number("depth", text)


def test_nothing_typed_is_none():
    assert typed_or_none("depth", "  ") is None
    assert typed_or_none("depth", "0,3") == 0.3
    with pytest.raises(BadInput, match="depth"):
        typed_or_none("depth", "three")
