"""One customer written in several ways: the same name is taken as one, a like one is a question."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable

from ...ledger.find.alike import groups
from ...ledger.find.search import plain

LEGAL = {
    "gmbh", "ag", "kg", "co", "ltd", "limited", "inc", "llc", "plc", "corp", "company", "sa", "sas", "sarl",
    "srl", "sl", "bv", "nv", "oy", "ab", "as", "and", "und", "et", "y", "the",
}  # fmt: skip
"""Words that say what a company is, not which."""

ALIKE = 0.8
"""Least share of letter groups two names have in common to be asked about (ours)."""

MOST_ASKED = 100


def key_of(name: str) -> str:
    """Return what is the same for all spellings of one name: no case, accents, signs, legal form, plural."""
    words = re.sub(r"[^\w\s]", " ", plain(name).replace(".", "")).split()
    kept = [w for w in words if w not in LEGAL] or words
    return " ".join(w[:-1] if len(w) > 4 and w.endswith("s") else w for w in kept)


def merge_customers(
    spelled: Iterable[str], known: Iterable[str]
) -> tuple[dict[str, str], list[tuple[str, str]]]:
    """Return spelling to name for those that change, and pairs of names that are only alike.

    Parameters
    ----------
    spelled : iterable of str
        As the table has them, each as often as it stands there.
    known : iterable of str
        Customers of the ledger: their spelling stands.
    """
    counts = Counter(s for s in spelled if s)
    ours: dict[str, str] = {}
    for name in known:
        ours.setdefault(key_of(name), name)
    same: dict[str, list[str]] = defaultdict(list)
    for name in counts:
        same[key_of(name)].append(name)
    chosen = {
        key: ours.get(key) or max(names, key=lambda n: (counts[n], not n.isupper(), -len(n), n))
        for key, names in same.items()
    }
    merged = {n: chosen[key] for key, names in same.items() for n in names if n != chosen[key]}
    return merged, _alike(chosen, ours)


def _alike(chosen: dict[str, str], ours: dict[str, str]) -> list[tuple[str, str]]:
    """Return names that differ by little: the table's, and the one it may be."""
    others = {**ours, **chosen}
    holders: dict[str, set[str]] = defaultdict(set)
    cut = {key: groups(key) for key in others}
    for key, gs in cut.items():
        for g in gs:
            holders[g].add(key)
    asked = []
    for key in chosen:
        shared = Counter(
            other
            for g in cut[key]
            if len(holders[g]) <= 200
            for other in holders[g]
            if other != key
        )
        for other, n in shared.most_common(3):
            share = 2 * n / (len(cut[key]) + len(cut[other]))
            if share >= ALIKE and (other in ours or key < other):
                asked.append((share, chosen[key], others[other]))
    return [(a, b) for _, a, b in sorted(asked, reverse=True)[:MOST_ASKED]]
