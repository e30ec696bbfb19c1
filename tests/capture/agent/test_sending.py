"""A spin on an agent's disk and the shop's server: cut, killed, refused, forgotten; nothing lost or doubled."""

import json
import time
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import soundfile
from capture.several.fake_digitiser import emitted
from conftest import there
from web.browser.program import Server

from heavyspot import Workshop, open_recording
from heavyspot.quantities.errors import SourceLost
from heavyspot.sim.cartridge import SIZES
from heavyspot.sources.live import Description
from heavyspot.sources.simulated import CHANNELS
from heavyspot.workshop.agent import line as lines
from heavyspot.workshop.agent.line import Line, Refused, Whole
from heavyspot.workshop.agent.sending import begun_now, send, sidecar_of, still_there
from heavyspot.workshop.agent.spins import Spins, Whose
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.demo.rigs import demo_model
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.people import people_of
from heavyspot.workshop.rig.record import add_rig
from heavyspot.workshop.taking.disk_first import About, Beside

RIG = "rig A"


def furnished(data, pieces=9):
    with Workshop(data) as shop:
        add_model(shop, demo_model(SIZES["Larch 52"]))
        add_rig(shop, RIG)
        for n in range(1, pieces + 1):
            add_piece(shop, f"P/{n}", "Larch 52")


def runs(data, serial):
    with Workshop(data) as shop:
        return cartridge_story(shop, serial).runs


def archived(data, serial):
    with Workshop(data) as shop:
        (run,) = cartridge_story(shop, serial).runs
        path = shop.book.archive.open(there(run.entry.recording))
        return np.concatenate([b.data for b in open_recording(path).blocks()])


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    data = tmp_path_factory.mktemp("agent") / "data"
    furnished(data)
    made = Server(data, demo=False)
    yield made
    made.stop()


def laid(folder, serial, seed=1, begun_at="2026-05-04T06:00:00.000Z", server_s=True):
    """Lay a spin into an agent's folder, as its capture leaves it."""
    spins = Spins(folder)
    path = spins.place(f"019f0000-0000-7000-8000-{seed:012d}")
    samples = emitted(seed)
    soundfile.write(path, samples, 51_200, "PCM_24", format="WAV")
    description = Description(CHANNELS, 51_200.0, "clockwise", RIG)
    Beside(About(""), description, "2026-05-04T05:50:00.000Z").write(path)
    spins.say(path, Whose(serial, "Ines", begun_at, server_s))
    return spins, spins.read(path)


def nothing():
    return None


def sent(spins, line, spin, clock_off_s=0.0):
    return send(spins, line, spin, rig=RIG, clock_off_s=clock_off_s, between=nothing)


def test_a_spin_arrives_bit_by_bit_with_its_time_and_its_rig(server, tmp_path):
    spins, spin = laid(tmp_path, "P/1", seed=11)
    proof = sent(spins, Line(server.url), spin)
    (run,) = runs(server.data, "P/1")
    assert (proof.run, proof.number, run.entry.rig) == (run.entry.id, 1, RIG)
    assert (run.entry.by, run.entry.recorded_at) == ("Ines", "2026-05-04T06:00:00.000Z")
    np.testing.assert_array_equal(archived(server.data, "P/1"), emitted(11))
    kept = spins.read(spin.path)
    assert kept.sent == proof and spin.path.exists()  # its grace has only begun
    assert still_there(Line(server.url), proof)


@pytest.mark.slow
@pytest.mark.parametrize("after", [0, 1, 4, "last"])
def test_a_server_killed_while_it_takes_a_spin(tmp_path, monkeypatch, after):
    monkeypatch.setattr(lines, "PART", 300_000)
    furnished(tmp_path / "data", 1)
    server = Server(tmp_path / "data", demo=False)
    spins, spin = laid(tmp_path / "spins", "P/1", seed=12)
    parts: list[int] = []

    class Cut(Line):
        def part(self, place, whole, offset):
            if len(parts) == after:
                server.kill()
            parts.append(offset)
            said = super().part(place, whole, offset)
            if after == "last" and isinstance(said, dict):
                server.kill()  # it has the run, and its answer is lost
                raise SourceLost("cut", remedy="")
            return said

    try:
        with pytest.raises(SourceLost):
            sent(spins, Cut(server.url), spin)
        assert spins.read(spin.path).sent is None
        server.start()
        before = len(parts)

        class Mended(Line):
            def part(self, place, whole, offset):
                parts.append(offset)
                return super().part(place, whole, offset)

        proof = sent(spins, Mended(server.url), spins.read(spin.path))
        if after == 4:
            assert parts[before] > 0  # it went on; what had arrived was not sent again
        assert proof.number == 1
    finally:
        server.stop()
    assert len(runs(server.data, "P/1")) == 1
    np.testing.assert_array_equal(archived(server.data, "P/1"), emitted(12))


def test_what_was_sent_already_is_not_a_second_run(server, tmp_path):
    spins, spin = laid(tmp_path, "P/2", seed=13)
    first = sent(spins, Line(server.url), spin)
    spin.path.with_suffix(".sent").unlink()  # a power cut before the proof was on the disk
    again = sent(spins, Line(server.url), spins.read(spin.path))
    assert (again.run, again.number) == (first.run, 1) and len(runs(server.data, "P/2")) == 1


def test_bytes_that_changed_on_the_way_are_not_read(server, tmp_path):
    class Bad(Line):
        def part(self, place, whole, offset):
            read = whole.read
            whole.read = lambda at, most: read(at, most).replace(b"\x01\x02", b"\x02\x01")
            return super().part(place, whole, offset)

    spins, spin = laid(tmp_path, "P/3", seed=14)
    with pytest.raises(SourceLost):
        sent(spins, Bad(server.url), spin)
    assert runs(server.data, "P/3") == ()
    assert sent(spins, Line(server.url), spins.read(spin.path)).number == 1
    np.testing.assert_array_equal(archived(server.data, "P/3"), emitted(14))


def test_a_piece_nobody_knows_is_refused_and_goes_once_it_is_said_whose(server, tmp_path):
    spins, spin = laid(tmp_path, "P/999", seed=15)
    with pytest.raises(Refused, match="no piece") as fault:
        sent(spins, Line(server.url), spin)
    assert fault.value.status == 404 and spin.path.exists()
    assert sent(spins, Line(server.url), spins.belongs(spin.id, "P/4")).number == 1


def test_what_answers_and_is_no_server_takes_nothing(server, tmp_path):
    class Portal(Line):
        """A log-in page of the network answers everything with 200."""

        def ask(self, *a, **k):
            return lines.Answer(200, {"Content-Type": "text/html"}, b"<html>Welcome, guest</html>")

    spins, spin = laid(tmp_path, "P/5", seed=16)
    with pytest.raises(SourceLost, match="no server of a shop"):
        sent(spins, Portal(server.url), spin)
    with pytest.raises(SourceLost, match="no server of a shop"):
        Portal(server.url).say(RIG, {})
    assert spins.read(spin.path).sent is None and not still_there(
        Portal(server.url), sent_of(spins, spin)
    )


def sent_of(spins, spin):
    from heavyspot.workshop.agent.spins import Sent

    return Sent("P/5", "x", 1, "y", 0.0)


@pytest.mark.slow
def test_a_wrong_key_keeps_everything_here(tmp_path):
    data = tmp_path / "data"
    furnished(data, 1)
    with Workshop(data) as shop:
        people = people_of(shop)
        people.set_user("Ada", "owner", "long enough for it")
        key = people.make_key_of("Ada", "rig A", "write", 30)
        reads = people.make_key_of("Ada", "the board", "read", 30)
    server = Server(data, demo=False, more=("--accounts",))
    spins, spin = laid(tmp_path / "spins", "P/1", seed=17)
    try:
        for wrong, status in (("", 401), ("nonsense", 401), (reads, 403)):
            with pytest.raises(Refused) as fault:
                sent(spins, Line(server.url, wrong), spin)
            assert fault.value.status == status
        assert sent(spins, Line(server.url, key), spins.read(spin.path)).number == 1
    finally:
        server.stop()
    (run,) = runs(data, "P/1")
    assert run.entry.by == "Ada (says: Ines)"


def test_a_clock_that_is_wrong_says_no_time(tmp_path):
    _, by_own = laid(tmp_path, "P/1", server_s=False)
    assert "recorded_at" in json.loads(sidecar_of(by_own, clock_off_s=2.0))
    for off in (3600.0, -86_400.0 * 365):
        assert "recorded_at" not in json.loads(sidecar_of(by_own, clock_off_s=off))
    _, by_server = laid(tmp_path, "P/1", server_s=True)
    told = json.loads(sidecar_of(by_server, clock_off_s=3600.0))
    assert told["recorded_at"] == "2026-05-04T06:00:00.000Z"  # not the time it was armed


def test_the_time_is_the_server_s_where_it_was_heard():
    said = begun_now("P", "", (datetime(2031, 1, 1, tzinfo=UTC).timestamp(), time.monotonic() - 90))
    at = datetime.fromisoformat(said.begun_at)
    assert said.server_s and abs(at - datetime(2031, 1, 1, 0, 1, 30, tzinfo=UTC)) < timedelta(
        seconds=2
    )
    assert not begun_now("P", "", None).server_s


def test_a_whole_is_the_same_however_it_is_cut(tmp_path):
    _, spin = laid(tmp_path, "P/1")
    whole = Whole(spin.path, '{"a": 1}')
    at_once = whole.read(0, whole.length + 5)
    assert len(at_once) == whole.length and spin.path.read_bytes() in at_once
    for most in (1, 37, 4096):
        assert whole.read(100, most) == at_once[100 : 100 + most]
    assert whole.read(whole.length - 3, 99) == at_once[-3:] and whole.read(whole.length, 9) == b""


@pytest.mark.parametrize("torn", [b"", b"{", b"[]", b'{"serial": 3}'])
def test_what_is_torn_beside_a_spin_counts_as_not_written(tmp_path, torn):
    spins, spin = laid(tmp_path, "P/1")
    for ending in (".spin", ".going", ".sent"):
        spin.path.with_suffix(ending).write_bytes(torn)
    kept = spins.read(spin.path)
    assert (kept.whose, kept.going, kept.sent) == (Whose(), None, None)
