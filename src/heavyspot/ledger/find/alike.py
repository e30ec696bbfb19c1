"""Pieces that are alike to words typed wrong: by Dice's coefficient of their three-letter groups, word by word.

Candidates come by two ways. Groups that few pieces hold are looked up; and where all groups are common, the likest
line of a sample says which of them stand together, and the newest lines that hold just these are taken.
"""

from __future__ import annotations

import math
import re

from sqlalchemy import Connection, text

from .holding import escaped, newest_holding
from .sample import Sample

LIKE_ENOUGH = 0.42
"""Least likeness, word by word on average, at which a piece is offered for a word that was typed wrong."""

RAREST, MOST_HOLDERS = 5, 20_000
"""Groups that are looked up for a likeness, and how many pieces may hold one to be worth it."""

RAREST_POSTGRES, UNSEEN = 3, 24
"""There each group costs a look into its whole list; one that no line of the sample holds costs next to nothing."""

CANDIDATES = 400

LOOKED_AT, TOGETHER = 50, 3
"""Lines of the sample that are compared, and how many sets of groups are taken from the likest of them."""

Wanted = list[tuple[str, set[str]]]


def likest(c: Connection, words: list[str], most: int, sample: Sample) -> list[str]:
    """Return the pieces whose lines are likest to words, the likest first and the newer before the older."""
    wanted = [(w, groups(w)) for w in words if len(w) >= 3]
    inner = sorted({g for _, gs in wanted for g in gs if len(g) == 3 and " " not in g})
    if not inner:
        return []
    places = {g: sample.holding(g) for g in inner}
    rare = _rare_sqlite(c, inner) if c.dialect.name == "sqlite" else _rare_postgres(places, sample)
    lines = dict(_sharing(c, rare))
    for together in _together(wanted, places, sample):
        lines |= dict(newest_holding(c, together, most, sample))
    scored = sorted(((likeness(wanted, line), p) for p, line in lines.items()), reverse=True)
    return [p for score, p in scored if score >= LIKE_ENOUGH][:most]


def groups(word: str) -> set[str]:
    """Return the three-letter groups of a word, its ends marked by spaces."""
    marked = f" {word} "
    return {marked[i : i + 3] for i in range(len(marked) - 2)}


def likeness(wanted: Wanted, line: str) -> float:
    """Return how like a line is to words: of each its likest word's coefficient, on average; 0 to 1."""
    have = [groups(w) for w in re.split(r"[\s]+", line)]
    total = 0.0
    for _, g in wanted:
        total += max((2 * len(g & h) / (len(g) + len(h)) for h in have), default=0.0)
    return total / len(wanted)


def _together(wanted: Wanted, places: dict[str, list[int]], sample: Sample) -> list[list[str]]:
    """Return the sets of groups that the likest lines of a sample share with the words, the likest first."""
    shared: dict[int, float] = {}
    for held in places.values():
        weight = math.log2(1 + len(sample.lines) / max(len(held), 1))  # a rare group says more
        for i in held:
            shared[i] = shared.get(i, 0.0) + weight
    sharing = sorted(shared, key=lambda i: (-shared[i], i))[:LOOKED_AT]
    scored = [(likeness(wanted, sample.lines[i]), i) for i in sharing]
    sets: list[list[str]] = []
    for score, i in sorted(scored, key=lambda one: (-one[0], one[1])):
        these = [g for g in places if g in sample.lines[i]]
        if score >= LIKE_ENOUGH and these not in sets and len(sets) < TOGETHER:
            sets.append(these)
    return sets


def _rare_sqlite(c: Connection, inner: list[str]) -> list[str]:
    marks = ", ".join(f":g{i}" for i in range(len(inner)))
    held = c.execute(
        text(f"select term, doc from search_groups where term in ({marks}) and doc <= :most"),
        {f"g{i}": g for i, g in enumerate(inner)} | {"most": MOST_HOLDERS},
    )
    return [r.term for r in sorted(held, key=lambda r: r.doc)[:RAREST]]


def _rare_postgres(places: dict[str, list[int]], sample: Sample) -> list[str]:
    unseen = [g for g, held in places.items() if not held]
    seen = sorted((len(held) * sample.per, g) for g, held in places.items() if held)
    return unseen[:UNSEEN] + [g for n, g in seen if n <= MOST_HOLDERS // 4][:RAREST_POSTGRES]


def _sharing(c: Connection, rare: list[str]) -> list[tuple[str, str]]:
    """Return pieces, with their lines, that hold any of some groups, those that hold more of them first."""
    if not rare:
        return []
    if c.dialect.name == "sqlite":
        match = " OR ".join('"' + g.replace('"', '""') + '"' for g in rare)
        query = "select piece_id, words from search where search match :m order by rank limit :n"
        values: dict[str, object] = {"m": match}
    else:
        held = [f"words like :g{i} escape '\\'" for i in range(len(rare))]
        rank = " + ".join(f"({one})::int" for one in held)
        query = f"select piece_id, words from search where {' or '.join(held)} order by {rank} desc limit :n"
        values = {f"g{i}": f"%{escaped(g)}%" for i, g in enumerate(rare)}
    return [(r.piece_id, r.words) for r in c.execute(text(query), values | {"n": CANDIDATES})]
