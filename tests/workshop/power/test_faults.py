"""The disk refuses, is full, or is slow at any call of a day: it is said, nothing is lost and nothing doubled.

The same day begun anew on a disk that is well then comes to its end.

In the normal run at some of the calls; under `prove` at every one.
"""

import errno
import shutil

import pytest
from workshop.power.a_day import DAY, EVERY_STEP, checked, morning
from workshop.power.power import Days, marks_of, shim

from heavyspot.quantities.errors import HeavyspotError

PARTS = 24
"""Of all calls, so that several processes share them."""


@pytest.fixture(scope="module")
def days(tmp_path_factory):
    folder = tmp_path_factory.mktemp("days")
    for name in ("warm", "kept"):
        (folder / name).mkdir()
        morning(folder / name / "root")
    made = Days(DAY, shim(folder), folder / "warm/root")
    yield made, folder / "kept/root"
    made.end()


def begun(days, folder):
    """A folder as a day begins with."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    root = folder / "root"
    shutil.copytree(days[1], root)
    (root / "data/shop.toml").write_text(f'recordings_url = "file://{root / "store"}"\n')
    return root


def calls_of(days, folder, **how):
    """Return how many calls a day makes that could fail."""
    assert marks_of(days[0].live(begun(days, folder), **how)) == EVERY_STEP
    return days[0].told()[0]


def faulted(days, folder, at, number, **how):
    """One call is refused; then the same day is begun anew on a disk that is well."""
    root = begun(days, folder)
    where = (at, errno.errorcode[number], how)
    marks = marks_of(days[0].live(root, POWER_FAIL_AT=at, POWER_ERRNO=number, **how))
    assert days[0].told()[0] >= at, where  # it came to that call
    said = (folder / "said").read_text()
    assert marks == EVERY_STEP or said, where  # what was not done was said
    try:
        checked(root, marks, where)
        again = marks_of(days[0].live(root))
        assert again == EVERY_STEP, (where, (folder / "said").read_text()[len(said) :])
        checked(root, again, where)
    except HeavyspotError as fault:
        raise AssertionError((where, said, str(fault))) from fault


@pytest.fixture(scope="module")
def calls(days, tmp_path_factory):
    """How many calls of a day change the disk, and how many read it."""
    folder = tmp_path_factory.mktemp("counted")
    changing = calls_of(days, folder / "day")
    assert changing > 1500
    return changing, calls_of(days, folder / "day", POWER_READS=1)


@pytest.mark.parametrize(("share", "number"), [(0.3, errno.ENOSPC), (0.62, errno.EIO)])
def test_one_call_is_refused(days, calls, tmp_path, share, number):
    faulted(days, tmp_path / "day", round(share * calls[0]), number)


def test_one_reading_is_refused(days, calls, tmp_path):
    faulted(days, tmp_path / "day", round(0.4 * calls[1]), errno.EIO, POWER_READS=1)


def test_each_call_takes_ten_seconds(days, tmp_path):
    """By every clock the program looks at; nothing of a day gives up meanwhile."""
    root = begun(days, tmp_path / "day")
    marks = marks_of(days[0].live(root, POWER_SLOW_S=10))
    changing, took_s = days[0].told()
    assert marks == EVERY_STEP and took_s > 10 * changing
    checked(root, marks, "slow")


@pytest.mark.prove
@pytest.mark.parametrize("part", range(PARTS))
@pytest.mark.parametrize("number", [errno.EIO, errno.ENOSPC])
def test_every_call_is_refused(days, calls, tmp_path, number, part):
    for at in range(1 + part, calls[0] + 1, PARTS):
        faulted(days, tmp_path / "day", at, number)


@pytest.mark.prove
@pytest.mark.parametrize("part", range(PARTS))
def test_every_reading_is_refused(days, calls, tmp_path, part):
    for at in range(1 + part, calls[1] + 1, PARTS):
        faulted(days, tmp_path / "day", at, errno.EIO, POWER_READS=1)
