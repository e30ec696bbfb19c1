"""Recordings at a location of their own: a share, an object store; handed over, read back, never lost."""

import contextlib
import shutil
import uuid
from datetime import timedelta

import numpy as np
import pytest

from heavyspot.ledger.store.archive import Archive
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


def test_recordings_go_and_come_back(shop, tmp_path):
    spun(shop, "R-1", 1)
    attach(shop, "R-1", "w.txt", b"as found")
    (row,) = shop.book.cartridges.runs(find_piece(shop, "R-1").id)
    local = shop.book.folder / row.recording
    before = samples(archived(shop, row.recording))
    assert len(list(shop.book.archive.waiting())) == 3  # recording, its channels, the paper
    assert shop.book.archive.hand_over() == 3 and not local.exists()
    assert list(shop.book.archive.waiting()) == []
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
    one, two = (
        shop.book.cartridges.runs(find_piece(shop, f"R-{n}").id)[0].recording for n in (1, 2)
    )
    with shop.book.archive._location() as fs:
        fs.pipe_file(shop.book.archive._at(one), b"torn")
        fs.rm_file(shop.book.archive._at(two))
    assert {d.words() for d in check_recordings(shop)} == {
        f"{one} was changed after it was written.", f"{two} is missing.",
    }  # fmt: skip
    with pytest.raises(LedgerFault, match="is missing"):
        shop.book.archive.open(two)


def test_a_location_that_does_not_keep_what_it_got_takes_nothing_away(shop, monkeypatch):
    spun(shop, "R-1", 1)
    monkeypatch.setattr(Archive, "_away_digest", lambda self, name: "0" * 64)
    with pytest.raises(LedgerFault, match="does not read back"):
        shop.book.archive.hand_over()
    assert list(check_recordings(shop)) == []


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
    shutil.rmtree(gone)
    with contextlib.suppress(LedgerFault):
        shop.book.archive.hand_over()
    (entry,) = check_recordings(shop)
    assert "is missing" in entry.words()
    shop.close()


def test_only_so_many_fetched_files_are_kept(shop, monkeypatch):
    monkeypatch.setattr("heavyspot.ledger.store.archive.MOST_CACHED", 4)
    for n in range(3):
        spun(shop, f"R-{n}", n)
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
