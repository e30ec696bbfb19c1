"""Reading ahead gives the same blocks, the same errors, and leaves no thread behind."""

import threading

import pytest

from heavyspot.sources.ahead import ahead


def decoding():
    return [t for t in threading.enumerate() if t.name == "decoding"]


def test_the_same_in_the_same_order():
    assert list(ahead(iter(range(50)))) == list(range(50))
    assert list(ahead(iter([]))) == []
    assert decoding() == []


def test_an_error_comes_where_it_happened():
    def blocks():
        yield 1
        yield 2
        raise ValueError("damaged")

    got = []
    with pytest.raises(ValueError, match="damaged"):
        for b in ahead(blocks()):
            got.append(b)
    assert got == [1, 2] and decoding() == []


def test_leaving_early_ends_it_and_no_more_is_read_than_may_wait():
    read = []

    def blocks():
        for i in range(1000):
            read.append(i)
            yield i

    for b in ahead(blocks()):
        if b == 3:
            break
    assert decoding() == []
    assert len(read) <= 3 + 1 + 4  # taken, two waiting, one in the hand, one asked for
