"""An array that grows holds what a plain joining holds, and leaves earlier views alone."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heavyspot.quantities.arrays import Growing


@given(st.lists(st.integers(0, 40), min_size=1, max_size=12), st.sampled_from([0, 1]))
def test_it_is_what_joining_gives(sizes, axis):
    rng = np.random.default_rng(len(sizes))
    parts = [rng.standard_normal((n, 3) if axis == 0 else (3, n)) for n in sizes]
    growing = Growing(axis)
    seen = []
    for part in parts:
        growing.add(part)
        seen.append((growing.so_far(), growing.so_far().copy()))
    np.testing.assert_array_equal(growing.so_far(), np.concatenate(parts, axis=axis))
    assert len(growing) == sum(sizes)
    assert all((view == then).all() for view, then in seen)


def test_nothing_added_is_said():
    with pytest.raises(ValueError, match="nothing"):
        Growing().so_far()
