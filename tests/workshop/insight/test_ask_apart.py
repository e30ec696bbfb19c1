"""A question that takes all the time or all the memory is ended, and nobody else waits for it."""

import os
import subprocess
import sys
import threading
import time

import pytest

from heavyspot.quantities.errors import BadInput
from heavyspot.workshop.insight import ask as ask_module
from heavyspot.workshop.insight import asking, questions, store
from heavyspot.workshop.insight.ask import COPY, ask
from heavyspot.workshop.job.pieces import add_piece

ENDLESS = "select sum(a.range * b.range) from range(1000000) a, range(1000000) b"


@pytest.fixture
def ready(shop):
    add_piece(shop, "Q-1", "Larch 52")
    store.refresh(shop)
    return shop


def test_others_do_not_wait_for_a_long_question(ready, monkeypatch):
    monkeypatch.setattr(ask_module, "LONGEST_S", 30.0)
    ended = threading.Event()

    def long():
        with pytest.raises(BadInput, match=r"took more than [0-9.]+ s"):
            ask(ready, ENDLESS)
        ended.set()

    thread, other = threading.Thread(target=long), threading.Thread(target=long)
    thread.start()
    try:
        while not list(ready.folder.glob(f"{COPY}-*")):
            time.sleep(0.01)
        for n in range(5):  # the statistics go on: read, and brought up to date
            questions.overview(ready, "model")
            add_piece(ready, f"Q-2{n}", "Larch 52")
            assert store.refresh(ready)["pieces"] == 2 + n
        assert ask(ready, "select count(*) as n from pieces") == (["n"], [(6,)])
        assert not ended.is_set()
        other.start()
        until = time.monotonic() + 20
        while ask_module._places._value and time.monotonic() < until:
            time.sleep(0.01)
        with pytest.raises(BadInput, match="Two questions"):
            ask(ready, "select 1")
    finally:
        thread.join()
        if other.ident:
            other.join()
    assert ask(ready, "select 1 as n") == (["n"], [(1,)])
    add_piece(ready, "Q-3", "Larch 52")
    store.refresh(ready)
    ask(ready, "select 1")
    assert len(list(ready.folder.glob(f"{COPY}-*"))) == 1  # older copies are gone


@pytest.mark.parametrize(
    "question",
    [
        "select list(range) from range(400000000)", "select repeat('x', 1500000000)",
        "select string_agg(range::varchar, ',') from range(500000000)",
        "with recursive r as (select repeat('x', 1000) as s union all select s || s from r) select * from r",
    ],
)  # fmt: skip
@pytest.mark.skipif(sys.platform == "win32", reason="memory is bounded by the database alone there")
def test_a_question_that_takes_all_memory_is_ended(ready, question):
    import resource

    before_kb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    with pytest.raises(BadInput, match="MB"):
        ask(ready, question)
    most_kb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    # the largest of all children of this process so far: other tests of it may have had larger ones
    assert most_kb <= max(before_kb, 2 * asking.MEMORY_MB * 1000)
    assert ask(ready, "select 1 as n") == (["n"], [(1,)])


def test_an_answer_that_is_too_large_is_refused(ready, monkeypatch):
    with pytest.raises(BadInput, match="larger than"):
        ask(ready, "select repeat('x', 30000) as s from range(2000)")
    names, rows = ask(ready, "select range as n from range(30000)")
    assert names == ["n"] and len(rows) == ask_module.MOST_ROWS


def test_what_comes_back_is_plain(ready):
    (row,) = ask(
        ready,
        "select 1.50::decimal(4,2) as d, date '2026-01-02' as day, null as n, [1] as l, 'nan'::double as x",
    )[1]
    assert row[:4] == (1.5, "2026-01-02", None, "[1]") and row[4] != row[4]


def test_the_process_has_none_of_ours(ready):
    """What it is given is the question and a path; not the environment's python, not our folder."""
    done = subprocess.run(
        [sys.executable, "-I", "-m", "heavyspot.workshop.insight.asking"],
        input='{"path": "/nowhere", "question": "select 1", "most": 1}', capture_output=True, text=True,
        env=os.environ | {"PYTHONPATH": "/nowhere"}, check=True,
    )  # fmt: skip
    assert '"away"' in done.stdout
