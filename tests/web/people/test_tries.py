"""Passwords tried by many at once: as few are looked at as one after the other, and memory stays bounded."""

import threading
import time

import pytest

from heavyspot.ledger.book import Book
from heavyspot.quantities.errors import BadInput
from heavyspot.workshop import people as people_module
from heavyspot.workshop import tries as tries_module
from heavyspot.workshop.people import People
from heavyspot.workshop.tries import AT_ONCE, FREE_TRIES, WAITING, Tries

PASSWORD = "warm oil, cold hands"


@pytest.fixture
def people(tmp_path):
    book = Book(tmp_path)
    made = People(book.accounts)
    made.set_user("Ida", "owner", PASSWORD)
    yield made
    book.close()


class Looks:
    """Counts passwords that are looked at, and how many in the same moment; each takes its time."""

    def __init__(self, hasher):
        self.hasher, self.done, self.now, self.most = hasher, 0, 0, 0
        self.lock = threading.Lock()

    def verify(self, known, typed):
        with self.lock:
            self.done, self.now = self.done + 1, self.now + 1
            self.most = max(self.most, self.now)
        time.sleep(0.02)
        with self.lock:
            self.now -= 1
        return self.hasher.verify(known, typed)

    def hash(self, secret):
        return self.hasher.hash(secret)


def all_at_once(jobs):
    said = []

    def one(job):
        try:
            said.append(job())
        except BadInput as fault:
            said.append(fault.message)

    threads = [threading.Thread(target=one, args=(j,)) for j in jobs]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    return said


def test_sixty_at_once_are_five_looks(people, monkeypatch):
    looks = Looks(people_module._hasher)
    monkeypatch.setattr(people_module, "_hasher", looks)
    said = []
    for _ in range(5):  # who was sent away comes again at once
        said += all_at_once([lambda: people.log_in("Ida", "a guess of mine")] * 60)
    # the wait doubles from one second: within the time this takes none or very few more are looked at
    assert FREE_TRIES <= looks.done <= FREE_TRIES + 3
    assert sum("Too many wrong" in s for s in said) >= 1
    with pytest.raises(BadInput, match="Too many wrong"):
        people.log_in("Ida", PASSWORD)


def test_passwords_of_many_names_are_looked_at_two_at_a_time(people, monkeypatch):
    looks = Looks(people_module._hasher)
    monkeypatch.setattr(people_module, "_hasher", looks)
    said = all_at_once(
        [lambda n=n: people.log_in(f"Nobody {n}", "a guess of mine") for n in range(40)]
    )
    assert looks.most <= AT_ONCE and looks.done >= WAITING
    assert sum("Many are logging in" in s for s in said) == 40 - looks.done


def test_one_address_does_not_take_all_places():
    tries, inside, let_go = Tries(), threading.Semaphore(0), threading.Event()

    def wait(n):
        with tries.turn(f"n{n}", "10.0.0.9"):
            inside.release()
            let_go.wait(10)

    threads = [threading.Thread(target=wait, args=(n,)) for n in range(3)]
    for t in threads:
        t.start()
    for _ in range(AT_ONCE):
        inside.acquire()
    while tries._inside["10.0.0.9"] < 3:
        time.sleep(0.01)
    with pytest.raises(BadInput, match="Many are logging in"), tries.turn("n9", "10.0.0.9"):
        pass
    let_go.set()
    with tries.turn("Ida", "10.0.0.1") as turn:
        turn.good = turn.known = True
    for t in threads:
        t.join()
    assert not tries._queues and not tries._inside


def test_made_up_names_do_not_wash_away_a_real_ones_wrong_passwords(people, monkeypatch):
    monkeypatch.setattr(tries_module, "UNKNOWN", 20)
    for _ in range(FREE_TRIES):
        with pytest.raises(BadInput, match="wrong"):
            people.log_in("Ida", "a guess of mine")
    for n in range(50):
        with people._tries.turn(f"made up {n}"):
            pass
    assert len(people._tries._unknown) == 20
    with pytest.raises(BadInput, match="Too many wrong"):
        people.log_in("Ida", PASSWORD)


def test_a_name_of_megabytes_takes_no_memory(people):
    with pytest.raises(BadInput, match="wrong"):
        people.log_in("x" * 3_000_000, "a guess of mine")
    assert all(len(k) == 64 for k in people._tries._unknown)
