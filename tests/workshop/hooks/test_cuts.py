"""Nothing lost and nothing held up: power cuts, killed programs, damaged entries, several programs at once."""

import os
import signal
import stat
import subprocess
import sys
import threading
import time
from dataclasses import replace

import pytest
from workshop.hooks.receiver import until
from workshop.hooks.telling import QUICK, rounds, spin

import heavyspot
from heavyspot.quantities.errors import BadInput, LedgerFault, NotThere, Taken
from heavyspot.workshop.hooks import (
    again,
    all_hooks,
    deliveries_of,
    end_hook,
    waiting,
)
from heavyspot.workshop.hooks.registry import add_hook, progress_of
from heavyspot.workshop.hooks.running import Telling
from heavyspot.workshop.hooks.told import events_of
from heavyspot.workshop.hooks.waiting import KEPT, queue_news, queue_test


@pytest.mark.parametrize(
    "cut", ["before queuing", "while queuing", "after queuing", "after sending"]
)
def test_a_power_cut_anywhere_loses_nothing_and_keeps_the_id(shop, told, spins, cut, monkeypatch):
    hook = add_hook(shop, told.url, ["verdict"])
    spin(shop, spins[0])

    class PowerCutError(BaseException):
        """Nothing after this is done."""

    def power_cut(*_, **__):
        raise PowerCutError

    place = {
        "before queuing": "waiting.put",
        "while queuing": "waiting.keep_progress",
        "after queuing": "running.send",
        "after sending": "running.put",
    }[cut]
    with monkeypatch.context() as m:
        m.setattr(f"heavyspot.workshop.hooks.{place}", power_cut)
        with pytest.raises(PowerCutError):
            rounds(shop)
    rounds(shop, 3)
    (delivery,) = deliveries_of(shop, hook.id)
    assert delivery.state == "delivered" and set(told.ids()) == {delivery.id}
    assert len(told.came) == (
        2 if cut == "after sending" else 1
    )  # at least once: the id tells it is the same
    assert told.bodies()[0]["data"]["serial"] == "H-1"


KILLED = """
import sys
import heavyspot
from heavyspot.workshop.hooks import running
with heavyspot.Workshop(sys.argv[1]) as shop:
    heavyspot.spin(shop, "H-1", sys.argv[2], operator="Ines")
    print("written", flush=True)
    sys.stdin.readline()
"""


def test_a_program_killed_between_verdict_and_telling(shop, told, tmp_path):
    hook = add_hook(shop, told.url, ["verdict"])
    file = tmp_path / "spin.wav"
    heavyspot.simulate(file, **QUICK)
    shop.close()
    command = [sys.executable, "-c", KILLED, str(shop.folder), str(file)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None and other.stdout.readline() == "written\n"
        os.kill(other.pid, signal.SIGKILL)
    with heavyspot.Workshop(shop.folder) as anew:
        rounds(anew)
        assert deliveries_of(anew, hook.id)[0].state == "delivered"
    assert [b["data"]["serial"] for b in told.bodies()] == ["H-1"]


def test_it_never_holds_the_bench_up(shop, told, spins):
    add_hook(shop, told.url)
    told.answers = ["hang"] * 9
    telling = Telling(shop, every_s=0.01)
    telling.start()
    try:
        began = time.monotonic()
        spin(shop, spins[0])
        alone = time.monotonic() - began
        until(lambda: told.came)
        heavyspot.add_piece(shop, "H-9", "Larch 52")
        began = time.monotonic()
        spin(shop, spins[1], "H-9")
        assert time.monotonic() - began < alone + 3
    finally:
        told.over.set()
        telling.stop()


def test_two_programs_on_one_folder_tell_each_thing_once(shop, told, spins):
    add_hook(shop, told.url, ["verdict"])
    spin(shop, spins[0])
    threads = [threading.Thread(target=rounds, args=(shop, 5)) for _ in range(4)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert len(told.came) == 1


def test_an_entry_that_cannot_be_read_holds_up_no_other(shop, told, spins, monkeypatch):
    hook = add_hook(shop, told.url, ["verdict"])
    spin(shop, spins[0])
    heavyspot.add_piece(shop, "H-2", "Larch 52")
    spin(shop, spins[1], "H-2")

    def events(shop, new):
        if new.piece_id == heavyspot.find_piece(shop, "H-1").id:
            raise LedgerFault("It is damaged.", remedy="verify")
        yield from events_of(shop, new)

    monkeypatch.setattr(waiting, "events_of", events)
    rounds(shop)
    assert [b["data"]["serial"] for b in told.bodies()] == ["H-2"]
    assert "damaged" in progress_of(shop, hook).fault


def test_a_hook_is_private_and_refuses_what_is_no_event_or_there_already(shop, told):
    hook = add_hook(shop, told.url)
    path = shop.folder / "hooks" / f"{hook.id}.json"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with pytest.raises(Taken):
        add_hook(shop, told.url)
    with pytest.raises(BadInput, match="no event"):
        add_hook(shop, "http://127.0.0.1:9/x", ["everything"])
    with pytest.raises(NotThere):
        end_hook(shop, "../../etc/passwd")
    with pytest.raises(NotThere):
        again(shop, hook.id, "../x")
    assert [h.id for h in all_hooks(shop)] == [hook.id]


def test_what_is_over_long_ago_is_dropped(shop, told, monkeypatch):
    monkeypatch.setattr(waiting, "KEPT", 3)
    hook = add_hook(shop, told.url)
    for _ in range(6):
        queue_test(shop, hook.id)
    rounds(shop, 2)
    assert len(deliveries_of(shop, hook.id)) == 3 and KEPT == 500
    assert {b["type"] for b in told.bodies()} == {"test"}


def test_a_ledger_that_went_on_from_a_backup_is_noticed_and_said(shop, told, spins):
    hook = add_hook(shop, told.url, ["verdict"])
    spin(shop, spins[0])
    rounds(shop)
    from heavyspot.workshop.hooks.registry import keep_progress

    so_far = progress_of(shop, hook)
    keep_progress(shop, hook, replace(so_far, mark=replace(so_far.mark, digest="0" * 64)))
    queue_news(shop, hook)
    assert "went on from a backup" in progress_of(shop, hook).fault
    heavyspot.add_piece(shop, "H-5", "Larch 52")
    spin(shop, spins[1], "H-5")
    rounds(shop)
    assert told.bodies()[-1]["data"]["serial"] == "H-5"


def test_it_begins_once_ends_and_begins_again(shop, told, spins):
    add_hook(shop, told.url, ["verdict"])
    telling = Telling(shop, every_s=0.01)
    telling.start()
    telling.start()
    assert [t.name for t in threading.enumerate()].count("hooks") == 1
    telling.stop()
    telling.stop()
    assert "hooks" not in [t.name for t in threading.enumerate()]
    spin(shop, spins[0])
    telling.start()
    until(lambda: told.came)
    telling.stop()
