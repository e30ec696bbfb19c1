"""The shop's own statistics: the copy equals the ledger, keeps up, and answers questions that can only read."""

from typing import Any

import numpy as np
import pytest
from conftest import there
from scipy.stats import nct
from workshop.station.two_houses import spun

from heavyspot.quantities.errors import BadInput, LedgerFault
from heavyspot.sources.curve_table import CurveTable
from heavyspot.workshop.cartridge.grinding import ground, ground_as_advised
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.cartridge.tabled.spinning import spin_table
from heavyspot.workshop.insight import ask, questions, store
from heavyspot.workshop.job.build_record import tell
from heavyspot.workshop.job.documents import Part, write_parts
from heavyspot.workshop.job.editing import amend_piece
from heavyspot.workshop.job.pieces import add_piece


def worked(shop, first, last):
    """Some pieces with runs, cuts, parts, claims."""
    for n in range(first, last):
        serial = f"I-{n}"
        spun(shop, serial, n, customer="Tidal Works", invoice=f"{n}")
        write_parts(shop, serial, [Part("shaft", ("Gull", "Moor")[n % 2], f"L-{n // 4}")])
        if n % 2:
            cut = ground(shop, serial, "nut", 40.0, mass_mg=5.0).cut
            ground(shop, serial, "nut", 45.0, mass_mg=6.0, replaces=cut.id, why="read wrong")
            spun(shop, serial, n + 1, new=False)
        if n % 3 == 0:
            tell(shop, serial, "claim", "howls")


def by_hand(shop):
    """The same facts, straight from the ledger."""
    out = {}
    for p in shop.book.jobs.pieces():
        runs = shop.book.cartridges.runs(p.id)
        if not runs:
            continue
        cuts = shop.book.cartridges.cuts(p.id, "made")
        told = shop.book.events.of_piece(p.id)
        part = next(
            (t.content["parts"][0] for t in told if t.kind == "parts"),
            {"supplier": "", "lot": ""},
        )
        first, last = runs[0], runs[-1]
        out[p.serial] = (
            len(runs), len(cuts), round(sum(c.mass_mg for c in cuts), 9), first.verdict,
            last.verdict, round(first.worst_ratio, 9), round(last.worst_ratio, 9),
            part["supplier"], part["lot"], any(t.kind == "claim" for t in told),
        )  # fmt: skip
    return out


def copied(shop):
    rows: list[dict[str, Any]] = store.asked(shop, dict, "select * from facts where runs > 0")
    return {
        r["serial"]: (
            r["runs"], r["cuts"], round(r["mass_mg"], 9), r["first_verdict"],
            r["verdict"],
            round(r["first_ratio"], 9), round(r["last_ratio"], 9), r["supplier"], r["lot"],
            r["claim_days"] is not None,
        )
        for r in rows
    }  # fmt: skip


def test_the_copy_is_the_ledger_and_keeps_up(shop):
    worked(shop, 0, 6)
    assert store.refresh(shop)["pieces"] == 6 and copied(shop) == by_hand(shop)
    worked(shop, 6, 10)
    amend_piece(shop, "I-2", {"serial": "I-2b"}, by="Ida", why="read wrong")
    tell(shop, "I-1", "claim", "late")
    store.refresh(shop)
    kept_up = copied(shop)
    assert kept_up == by_hand(shop) and "I-2b" in kept_up and "I-2" not in kept_up
    (shop.book.folder / store.FILE).unlink()
    store.refresh(shop)
    assert copied(shop) == kept_up  # made anew it is the same


def test_groups_add_up_and_lead_to_their_pieces(shop):
    worked(shop, 0, 9)
    store.refresh(shop)
    for by in questions.GROUPS:
        rows = questions.overview(shop, by)
        assert sum(r.pieces for r in rows) == 9
        for r in rows:
            behind = questions.pieces_behind(shop, by, there(r.name))
            assert len(behind) == r.pieces
            assert np.mean([b.runs for b in behind]) == pytest.approx(r.runs)
            assert sum(b.claim_days is not None for b in behind) == r.claims
    assert questions.overview(shop, "model", since="2999-01-01") == []
    with pytest.raises(BadInput, match="no group"):
        questions.overview(shop, "1; drop table facts")


def typed(shop, serial, highest_g):
    """A run that came as a table of speeds."""
    rows = (60_000.0, 90_000.0, 120_000.0, 150_000.0)
    amplitudes = ((0.1, highest_g, 0.2, 0.15),)
    return spin_table(shop, serial, CurveTable(rows, amplitudes, "g", "peak"))


def tables_of(shop):
    rows: list[dict[str, Any]] = store.asked(shop, dict, "select * from facts where runs > 0")
    return {r["serial"]: (r["runs"], r["tables"], r["first_as"]) for r in rows}


def test_runs_that_came_as_tables_are_counted_and_told_apart(shop):
    spun(shop, "R-1", 1)
    add_piece(shop, "T-1", "Larch 52")
    typed(shop, "T-1", 1.25)
    store.refresh(shop)
    assert tables_of(shop) == {"R-1": (1, 0, "recording"), "T-1": (1, 1, "table")}
    typed(shop, "T-1", 0.9)
    typed(shop, "R-1", 0.8)
    store.refresh(shop)
    kept_up = tables_of(shop)
    assert kept_up == {"R-1": (2, 1, "recording"), "T-1": (2, 2, "table")}
    groups = {r.name: r for r in questions.overview(shop, "first run as")}
    assert (groups["table"].pieces, groups["table"].tables, groups["recording"].tables) == (1, 2, 1)
    first = cartridge_story(shop, "T-1").runs[0].entry
    assert there(first.worst_ratio) > 1
    assert groups["table"].first_ratio == pytest.approx(first.worst_ratio)
    asked = ask.ask(shop, "select came_as, count(*) as n from runs group by 1 order by 1")
    assert asked == (["came_as", "n"], [("recording", 1), ("table", 3)])
    with store._open(shop.book.folder / store.FILE) as c:  # a copy that an earlier version made
        c.execute("alter table raw_runs drop column recording")
        c.execute("update state set form = 2")
    store.refresh(shop)
    assert tables_of(shop) == kept_up


@pytest.mark.parametrize(("good", "n"), [(0, 5), (3, 10), (10, 10), (50, 400)])
def test_intervals_are_statsmodels_(good, n):
    from statsmodels.stats.proportion import proportion_confint

    share, low, high = questions.wilson(good, n)
    assert share == good / n
    assert (low, high) == pytest.approx(proportion_confint(good, n, method="wilson"), abs=2e-5)


def test_a_supplier_whose_parts_come_in_otherwise_is_named(shop, monkeypatch):
    worked(shop, 0, 1)
    store.refresh(shop)
    rng = np.random.default_rng(5)
    with store._open(shop.book.folder / store.FILE) as c:
        for supplier, jump in (("Even", 1.0), ("Jumped", 2.0)):
            for k in range(80):
                ratio = float(rng.lognormal(0.0, 0.25)) * (jump if k >= 55 else 1.0)
                c.execute(
                    "insert into facts (piece_id, supplier, runs, first_ratio, day)"
                    " values (?, ?, 1, ?, ?::date + ?::int)",
                    [f"{k:03d}", supplier, ratio, "2026-01-01", k],
                )
    found = {s.supplier: s for s in questions.incoming(shop)}
    assert found["Even"].alarm == "" and found["Jumped"].alarm > "2026-02-20"
    assert found["Gull"].chart is None  # one piece tells nothing


def test_a_capability_says_how_well_it_is_known(shop):
    """By the noncentral t of twelve values."""
    worked(shop, 0, 1)
    store.refresh(shop)
    last = np.random.default_rng(4).normal(0.7, 0.1, 12)
    with store._open(shop.book.folder / store.FILE) as c:
        for k, ratio in enumerate(last):
            c.execute(
                "insert into facts (piece_id, model, runs, first_ratio, last_ratio)"
                " values (?, 'Twelve', 1, 1.5, ?)",
                [f"{k:03d}", float(ratio)],
            )
    row = next(r for r in questions.shipped_elsewhere(shop) if r.model == "Twelve")
    assert row.cpk == pytest.approx((1 - last.mean()) / (3 * last.std(ddof=1)))
    scale = 3 * np.sqrt(12)
    for end, p in ((row.cpk_low, 0.975), (row.cpk_high, 0.025)):
        assert nct.cdf(scale * row.cpk, 11, scale * end) == pytest.approx(p, abs=2e-4)


def test_claims_and_limits(shop):
    worked(shop, 0, 9)
    store.refresh(shop)
    curves = dict(questions.claims(shop))
    assert sum(c.n for c in curves.values()) == sum(
        p.verdict in ("pass", "fail") for p in shop.book.jobs.pieces()
    )
    assert sum(c.claims for c in curves.values()) == 3
    (row,) = questions.shipped_elsewhere(shop)
    firsts = [r[5] for r in by_hand(shop).values()]
    assert row.two == pytest.approx(np.mean([f <= 2 for f in firsts])) and row.cpk is None


@pytest.mark.parametrize(
    "question",
    [
        "drop table facts", "insert into facts select * from facts", "select 1; select 2", "",
        "copy facts to 'x.csv'",
        "select * from read_csv('/etc/hostname')", "select * from '/etc/hostname'", "attach 'x.db'",
        "install httpfs",
        "set enable_external_access = true", "select nothing from pieces", "pragma database_list",
        "select * from glob('/*')", "select getenv('HOME')",
    ],
)  # fmt: skip
def test_questions_can_only_read(shop, question):
    worked(shop, 0, 1)
    store.refresh(shop)
    with pytest.raises(BadInput):
        ask.ask(shop, question)
    assert ask.ask(shop, "select count(*) as n from pieces") == (["n"], [(1,)])


def test_a_question_that_takes_for_ever_is_stopped(shop, monkeypatch):
    worked(shop, 0, 1)
    store.refresh(shop)
    monkeypatch.setattr(ask, "LONGEST_S", 3.0)
    with pytest.raises(BadInput, match="took more"):
        ask.ask(shop, "select sum(a.range * b.range) from range(1000000) a, range(1000000) b")


def test_an_ask_before_there_is_a_copy(shop):
    with pytest.raises(LedgerFault):
        ask.ask(shop, "select 1")


def test_advice_kept_beside_advice_that_was_not(shop):
    kept = otherwise = 0
    for n in range(8):
        spun(shop, f"A-{n}", n)
        cuts = cartridge_story(shop, f"A-{n}").asked
        if not cuts:
            continue
        if n % 2:
            ground_as_advised(shop, f"A-{n}")
            kept += 1
        else:
            for c in cuts:
                ground(shop, f"A-{n}", c.plane, (c.angle_deg + 90) % 360, mass_mg=c.mass_mg)
            otherwise += 1
        spun(shop, f"A-{n}", n + 1, new=False)
    store.refresh(shop)
    rows = {r.kept: r.number for r in questions.advice_kept(shop)}
    assert kept and otherwise and rows == {True: kept, False: otherwise}
