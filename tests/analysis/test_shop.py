"""A shop opened to look: pieces and runs, one by one and as frames; nothing is written by looking."""

import hashlib

import numpy as np
import pytest
from conftest import there

import heavyspot


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    data = tmp_path_factory.mktemp("shop") / "data"
    with heavyspot.Workshop(data) as shop:
        heavyspot.add_model(shop, "docs/examples/larch52.toml")
        for n in (1, 2):
            heavyspot.add_piece(shop, f"L52-{n}", "Larch 52", customer="Fjord Haulage")
            spin = heavyspot.simulate(unit=n, run_up_s=3.0, sample_rate_hz=25_600)
            heavyspot.spin(shop, f"L52-{n}", spin, operator="Ines")
        spin = heavyspot.simulate(unit=1, seed=2, run_up_s=3.0, sample_rate_hz=25_600)
        heavyspot.spin(shop, "L52-1", spin, operator="Ines")
        heavyspot.add_piece(shop, "OLD-1", "Larch 52")
    return data


@pytest.fixture
def shop(folder):
    with heavyspot.open(folder) as opened:
        yield opened


def test_pieces_and_runs_one_by_one(shop):
    assert [p.serial for p in shop.pieces()] == ["L52-1", "L52-2", "OLD-1"]
    runs = shop.runs()
    assert [(r.of, r.number) for r in runs] == [("L52-1", 1), ("L52-1", 2), ("L52-2", 1)]
    assert [(r.of, r.number) for r in runs] == [(r.of, r.number) for r in runs]  # each time anew
    assert [r.number for r in shop.runs("L52-1")] == [1, 2]
    failed = list(shop.runs(verdict="fail"))
    assert all(r.verdict == "fail" for r in failed)
    assert (
        len(failed)
        + len(list(shop.runs(verdict="pass")))
        + len(list(shop.runs(verdict="undecided")))
        == 3
    )
    assert list(shop.runs(model="Larch 99")) == []


def test_a_kept_run_says_what_the_ledger_says(shop):
    kept = heavyspot.cartridge_story(shop.workshop, "L52-1").runs[0]
    run = next(iter(shop.runs("L52-1")))
    assert (run.id, run.verdict, run.reason) == (
        kept.entry.id,
        kept.result.verdict,
        kept.result.reason,
    )
    assert run.ratio == there(kept.result.worst).ratio and run.simulated and run.by == "Ines"
    near = np.abs(run.curve.speed_rpm - run.worst_speed_rpm).argmin()
    assert run.curve.amplitude[near] / run.limit_g == pytest.approx(run.ratio, rel=1e-4)
    assert "limit" in repr(run) and run.plot().get_title().startswith("L52-1, run 1, ")


def test_the_same_run_is_equal_and_found_in_a_set(folder, shop):
    with heavyspot.open(folder) as other:
        mine, theirs = list(shop.runs()), list(other.runs())
        assert mine == theirs and set(mine) == set(theirs) and len(set(mine)) == 3
        assert shop == other and hash(shop) == hash(other)
    assert mine[0] != mine[1]


def test_frames_of_a_shop(shop):
    runs = shop.runs().to_pandas()
    assert list(runs["serial"]) == ["L52-1", "L52-1", "L52-2"] and runs["simulated"].all()
    assert runs["ratio"].dtype == float and runs["number"].dtype == int
    assert runs.groupby("serial")["ratio"].median().size == 2
    assert shop.runs().to_polars()["ratio"].to_list() == list(runs["ratio"])
    assert shop.runs().to_arrow().num_rows == 3
    assert shop.runs().to_xarray()["ratio"].dims == ("line",)
    pieces = shop.pieces().to_pandas()
    assert list(pieces["serial"]) == ["L52-1", "L52-2", "OLD-1"]
    assert np.isnan(pieces["ratio"].iloc[2])  # not measured is not 0
    assert "OLD-1" in shop.pieces()._repr_html_() and "iterate" in repr(shop.runs())


def test_a_folder_that_is_no_shop_is_refused_and_nothing_made(tmp_path):
    with pytest.raises(heavyspot.NotThere, match="no shop"):
        heavyspot.open(tmp_path / "typed wrong")
    assert list(tmp_path.iterdir()) == []
    with (
        pytest.raises(heavyspot.NotThere, match="no piece"),
        heavyspot.open(shop_in(tmp_path)) as shop,
    ):
        list(shop.runs("nobody"))


def shop_in(folder):
    heavyspot.Workshop(folder / "data").close()
    return folder / "data"


def test_an_empty_shop_gives_empty_frames(tmp_path):
    with heavyspot.open(shop_in(tmp_path)) as shop:
        assert list(shop.pieces()) == [] and shop.runs().to_pandas().empty
        assert shop.pieces().to_polars().height == 0 and "<table>" in shop.runs()._repr_html_()


def test_looking_writes_no_entry(folder):
    with heavyspot.open(folder) as shop:
        before = shop.workshop.book.head()
        for run in shop.runs():
            _ = run.curve
        shop.pieces().to_arrow()
        assert shop.workshop.book.head() == before
    recordings = sorted((folder / "recordings").rglob("*.*"))
    digests = [hashlib.sha256(p.read_bytes()).hexdigest() for p in recordings]
    with heavyspot.open(folder) as shop:
        list(shop.runs())
    assert digests == [hashlib.sha256(p.read_bytes()).hexdigest() for p in recordings]
