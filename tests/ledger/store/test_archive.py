"""Recordings at a location of their own: a share, an object store; handed over, read back, never lost."""

import contextlib
import os
import shutil
import uuid
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from heavyspot.ledger.store.archive import Archive
from heavyspot.ledger.store.location import Location
from heavyspot.quantities.errors import BadInput, LedgerFault
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.one_run import archived
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.build_record import tell
from heavyspot.workshop.job.documents import attach
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.keep.backup import back_up, restore
from heavyspot.workshop.keep.retention import check_recordings, retire_recordings
from heavyspot.workshop.shop import Workshop, find_piece

QUICK = SpinSettings(run_up_s=1.5, hold_s=0.2, coast_s=0.5, sample_rate_hz=12_800.0)


@pytest.fixture(scope="module")
def object_store():
    """A server that speaks S3 (the one of moto, over HTTP as any other), and a bucket on it."""
    from moto.server import ThreadedMotoServer

    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    yield f"http://{host}:{port}"
    server.stop()


@pytest.fixture(params=["share", "s3"])
def url(request, tmp_path, monkeypatch):
    if request.param == "share":
        (tmp_path / "share").mkdir()
        return (tmp_path / "share").as_uri()
    endpoint = request.getfixturevalue("object_store")
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "x")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "x")
    monkeypatch.setenv("AWS_ENDPOINT_URL", endpoint)
    monkeypatch.setenv("AWS_DEFAULT_REGION", "us-east-1")
    import s3fs

    bucket = f"shop-{uuid.uuid4().hex}"
    s3fs.S3FileSystem(skip_instance_cache=True).mkdir(bucket)
    return f"s3://{bucket}/recordings of the shop"


@pytest.fixture
def shop(tmp_path, url):
    (tmp_path / "data").mkdir()
    first = Workshop(tmp_path / "data")
    furnish(first)
    first.close()
    settings = (tmp_path / "data/shop.toml").read_text()
    (tmp_path / "data/shop.toml").write_text(f'{settings}\nrecordings_url = "{url}"\n')
    made = Workshop(tmp_path / "data")
    yield made
    made.close()


def samples(recording):
    return np.concatenate([b.data for b in recording.blocks()])


def spun(shop, serial, seed, *, new=True):
    if new:
        add_piece(shop, serial, "Larch 52")
    spin(shop, serial, simulated_recording(make_cartridge("Larch 52", seed), seed, QUICK))


def days_pass(shop, days):
    """Let what was handed over lie for so many days more."""
    for path in (shop.book.folder / "handed-over").rglob("*"):
        if path.is_file():
            at = path.stat().st_mtime - days * 86_400
            os.utime(path, (at, at))


def kept_of(shop):
    return [p for p in (shop.book.folder / "handed-over").rglob("*") if p.is_file()]


def test_recordings_go_and_come_back(shop, tmp_path):
    spun(shop, "R-1", 1)
    attach(shop, "R-1", "w.txt", b"as found")
    (row,) = shop.book.cartridges.runs(find_piece(shop, "R-1").id)
    local = shop.book.folder / row.recording
    before = samples(archived(shop, row.recording))
    assert len(list(shop.book.archive.waiting())) == 3  # recording, its channels, the paper
    assert shop.book.archive.hand_over() == 3 and not local.exists()
    assert list(shop.book.archive.waiting()) == []
    days_pass(shop, 8)
    assert shop.book.archive.hand_over() == 0 and kept_of(shop) == []
    assert list(check_recordings(shop)) == []
    again = archived(shop, row.recording)
    assert np.array_equal(samples(again), before) and again.channels[0].name
    told = back_up(shop, tmp_path / "copy")
    assert told.recordings == 0  # they lie elsewhere, with a backup of their own
    restore(tmp_path / "copy", tmp_path / "new")
    back = Workshop(tmp_path / "new")
    assert list(check_recordings(back)) == []
    back.close()


def test_what_is_lost_or_changed_there_is_named(shop):
    for n in (1, 2):
        spun(shop, f"R-{n}", n)
    shop.book.archive.hand_over()
    days_pass(shop, 8)
    shop.book.archive.hand_over()
    one, two = (
        shop.book.cartridges.runs(find_piece(shop, f"R-{n}").id)[0].recording for n in (1, 2)
    )
    away = shop.book.archive._away
    with away._there() as fs:
        fs.pipe_file(away._at(one), b"torn")
        fs.rm_file(away._at(two))
    assert {d.words() for d in check_recordings(shop)} == {
        f"{one} was changed after it was written.", f"{two} is missing.",
    }  # fmt: skip
    with pytest.raises(LedgerFault, match="is missing"):
        shop.book.archive.open(two)


def test_a_location_that_does_not_keep_what_it_got_takes_nothing_away(shop, monkeypatch):
    spun(shop, "R-1", 1)
    monkeypatch.setattr(Location, "digest", lambda self, name: "0" * 64)
    with pytest.raises(LedgerFault, match="does not read back"):
        shop.book.archive.hand_over()
    assert list(check_recordings(shop)) == []


def test_the_old_copy_is_kept_a_week_and_goes_only_while_the_location_has_it(shop):
    for n in (1, 2, 3):
        spun(shop, f"R-{n}", n)
    names = list(shop.book.archive.waiting())
    assert shop.book.archive.hand_over() == 6 and len(kept_of(shop)) == 6
    days_pass(shop, 6)
    shop.book.archive.hand_over()
    assert len(kept_of(shop)) == 6
    away = shop.book.archive._away
    with away._there() as fs:  # a store that lost one and tore one within the week
        fs.rm_file(away._at(names[0]))
        fs.pipe_file(away._at(names[2]), b"torn")
    assert archived(shop, names[0]).channels  # a look in the week needs no location
    days_pass(shop, 2)
    assert shop.book.archive.hand_over() == 2  # the lost ones go anew
    assert len(kept_of(shop)) == 2 and list(check_recordings(shop)) == []


def test_a_kept_copy_goes_with_its_recording(shop):
    spun(shop, "R-1", 1)
    (name, _) = shop.book.archive.waiting()
    shop.book.archive.hand_over()
    shop.book.archive.remove(name)
    assert kept_of(shop) == [] and not shop.book.archive.exists(name)


@pytest.mark.posix
def test_a_copy_is_on_the_disk_before_the_old_one_moves(tmp_path, monkeypatch):
    """A power cut drops what was not synced: file, its name, the names of new folders."""
    synced: set[int] = set()
    fsync = os.fsync

    def noted(descriptor):
        fsync(descriptor)
        synced.add(os.fstat(descriptor).st_ino)

    share = tmp_path / "share"
    share.mkdir()
    moved = []
    replace, unlink = Path.replace, Path.unlink

    def gone(path):
        if path.suffix in (".flac", ".json") and "data/recordings" in path.as_posix():
            there = share / path.relative_to(tmp_path / "data")
            for one in (there, *there.parents):
                assert one.stat().st_ino in synced, f"{one} is not on the disk yet"
                if one == share:
                    break
            moved.append(there)

    monkeypatch.setattr(Path, "replace", lambda path, to: (gone(path), replace(path, to))[1])
    monkeypatch.setattr(Path, "unlink", lambda path, **how: (gone(path), unlink(path, **how))[1])
    archive = Archive(tmp_path / "data", share.as_uri())
    for name in ("recordings/2026/01/a.flac", "recordings/2026/02/b.flac"):
        (archive.folder / name).parent.mkdir(parents=True)
        (archive.folder / name).write_bytes(b"samples")
    monkeypatch.setattr(os, "fsync", noted)
    assert archive.hand_over() == 2 and len(moved) == 2


def test_what_reads_back_comes_from_the_disk(tmp_path, monkeypatch):
    asked = []
    monkeypatch.setattr(os, "posix_fadvise", lambda *what: asked.append(what[3]), raising=False)
    (tmp_path / "share").mkdir()
    archive = Archive(tmp_path / "data", (tmp_path / "share").as_uri())
    (archive.folder / "papers").mkdir(parents=True)
    (archive.folder / "papers/w.txt").write_bytes(b"as found")
    assert archive.hand_over() == 1
    assert asked == [os.POSIX_FADV_DONTNEED]


def test_a_location_that_is_away_costs_no_run(tmp_path):
    shop = Workshop(tmp_path / "data")
    furnish(shop)
    shop.close()
    gone = tmp_path / "share"
    settings = (tmp_path / "data/shop.toml").read_text()
    (tmp_path / "data/shop.toml").write_text(f'{settings}\nrecordings_url = "{gone.as_uri()}"\n')
    gone.write_text("no folder: the share is not mounted")
    shop = Workshop(tmp_path / "data")
    spun(shop, "R-1", 1)
    with pytest.raises(LedgerFault, match="location"):
        shop.book.archive.hand_over()
    assert list(check_recordings(shop)) == []
    gone.unlink()
    assert shop.book.archive.hand_over() == 2
    days_pass(shop, 8)
    shop.book.archive.hand_over()
    shutil.rmtree(gone)
    with contextlib.suppress(LedgerFault):
        shop.book.archive.hand_over()
    entries = list(check_recordings(shop))  # the recording, and what says its channels
    assert len(entries) == 2 and all("is missing" in e.words() for e in entries)
    shop.close()


def test_only_so_many_fetched_files_are_kept(shop, monkeypatch):
    monkeypatch.setattr("heavyspot.ledger.store.archive.MOST_CACHED", 4)
    for n in range(3):
        spun(shop, f"R-{n}", n)
    shop.book.archive.hand_over()
    days_pass(shop, 8)
    shop.book.archive.hand_over()
    for n in range(3):
        archived(shop, shop.book.cartridges.runs(find_piece(shop, f"R-{n}").id)[0].recording)
    held = [p for p in (shop.book.folder / "cache").rglob("*") if p.is_file()]
    assert len(held) == 4


@pytest.mark.parametrize("away", [False, True])
def test_old_recordings_go_by_the_rule_and_curves_stay(shop, away):
    for n in range(3):
        spun(shop, f"R-{n}", n)
        spun(shop, f"R-{n}", n + 5, new=False)
    tell(shop, "R-2", "claim", "it howls")
    if away:
        shop.book.archive.hand_over()
    with pytest.raises(BadInput, match="keeps all recordings"):
        retire_recordings(shop)
    assert retire_recordings(shop, days=1).recordings == 0  # all are of today
    tomorrow = "2999-01-01T00:00:00.000Z"
    may_go = shop.book.retention.old(tomorrow, keep_last=True)
    firsts = [shop.book.cartridges.runs(find_piece(shop, f"R-{n}").id)[0].id for n in (0, 1)]
    assert [r.run_id for r in may_go] == firsts  # not the last runs, nothing of the claim
    assert len(shop.book.retention.old(tomorrow, keep_last=False)) == 4


def test_retired_recordings_are_named_and_not_missed(shop, monkeypatch):
    for n in range(2):
        spun(shop, f"R-{n}", n)
        spun(shop, f"R-{n}", n + 5, new=False)
    monkeypatch.setattr(
        "heavyspot.workshop.keep.retention.timedelta", lambda days: timedelta(days=-1)
    )
    assert retire_recordings(shop, days=30, dry_run=True).recordings == 2
    told = retire_recordings(shop, days=30, by="Ida")
    assert told.recordings == 2 and told.bytes > 10_000
    assert list(check_recordings(shop)) == [] and list(shop.book.check_chain()) == []
    first, last = shop.book.cartridges.runs(find_piece(shop, "R-0").id)
    with pytest.raises(LedgerFault, match=r"removed on .*older than 30 days"):
        archived(shop, first.recording)
    assert len(samples(archived(shop, last.recording))) > 1000
    assert (
        len(cartridge_story(shop, "R-0").runs) == 2
        and shop.book.cartridges.curves(first.piece_id)[1]
    )
    assert retire_recordings(shop, days=30).recordings == 0
