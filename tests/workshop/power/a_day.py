"""A whole day of a shop, the disk it begins with, and what must be so afterwards."""

import shutil

from ledger.old_ledger import make_old

from heavyspot.ledger.exchange.upgrade import upgrade_ledger
from heavyspot.ledger.store.schema import HEAD, connected, version_of
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.keep.backup import restore
from heavyspot.workshop.keep.ledger_state import check_ends, check_index
from heavyspot.workshop.keep.retention import check_recordings
from heavyspot.workshop.keep.upgrading import upgrade
from heavyspot.workshop.shop import Workshop

DAY = """
import os, sys
from pathlib import Path
import heavyspot
from heavyspot.quantities.errors import DoneBefore, HeavyspotError
from heavyspot.sources.loose_table import open_table
from heavyspot.web.app import create_app
from heavyspot.workshop.job.build_record import tell
from heavyspot.workshop.keep.backup import back_up
from heavyspot.workshop.keep.retention import hand_recordings_over
from heavyspot.workshop.keep.upgrading import upgrade
from heavyspot.workshop.old_book.bring import bring_in
from heavyspot.workshop.once import asked_once, digest_of, first_answer
from heavyspot.workshop.sheets.issue import issue_sheet
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.station.arrivals import add_station
from heavyspot.workshop.station.station import exchange, join
from workshop.station.two_houses import CutLine, recording

root = Path(sys.argv[1])
mark = os.open(os.environ["POWER_MARK"], os.O_WRONLY)

KEYED = ("piece", "run", "cut", "sheet", "note")  # written once, however often the day begins anew
said = open(root.with_name("said"), "a")

def step(name, do):
    try:
        if name in KEYED:
            key = digest_of("day", name), digest_of(name)
            if first_answer(shop, *key) is None:  # as a page or a program that sends it again is answered
                with asked_once(*key):
                    do()
            done = None
        else:
            done = do()
    except DoneBefore:
        done = None
    except (HeavyspotError, OSError) as fault:
        print(name, type(fault).__name__, fault, file=said, flush=True)
        return None  # said to the person; the day goes on
    os.write(mark, (name + "\\n").encode())
    return done

shop = None
while shop is None:
    shop = step("open", lambda: Workshop(root / "data"))
def brought():
    told = bring_in(shop, open_table(root / "old.csv"), rejects=root / "rejects.csv")
    assert told.taken + told.known == 5
def handed_on():
    app = create_app(root / "main")
    line = CutLine(app, add_station(app.state.shop, "East"))
    join(root / "data", line, "http://main", line.client.headers["X-Station-Key"])
    exchange(shop, line)
    app.state.shop.close()
step("piece", lambda: heavyspot.add_piece(shop, "D-1", "Larch 52", customer="Tidal Works"))
step("run", lambda: heavyspot.spin(shop, "D-1", recording(1)))
step("cut", lambda: heavyspot.ground(shop, "D-1", "nut", 30.0, mass_mg=5.0))
step("sheet", lambda: issue_sheet(shop, "D-1", root / "last.pdf"))
step("old", brought)
step("backup", lambda: back_up(shop, root / "copy"))
step("note", lambda: tell(shop, "D-1", "note", "as agreed"))
step("forward", handed_on)
step("over", lambda: hand_recordings_over(shop))
step("upgrade", lambda: upgrade(root / "before"))
step("again", lambda: back_up(shop, root / "copy"))
shop.close()
"""

EVERY_STEP = [
    "open", "piece", "run", "cut", "sheet", "old", "backup", "note", "forward", "over", "upgrade", "again",
]  # fmt: skip
KINDS = {"piece": "written", "run": "run", "cut": "cut", "sheet": "sheet", "note": "note"}


def morning(root):
    """A shop as it stands before the day, an older ledger beside it."""
    root.mkdir()
    shop = Workshop(root / "data")
    furnish(shop)
    shop.close()
    (root / "store").mkdir()
    (root / "data/shop.toml").write_text(f'recordings_url = "file://{root / "store"}"\n')
    (root / "old.csv").write_text(
        "Serial;Customer\n" + "".join(f"O-{n};Tidal Works\n" for n in range(5))
    )
    (root / "before").mkdir()
    make_old(f"sqlite:///{root / 'before/ledger.sqlite'}", "0012")


def checked(root, marks, where):
    """The shop opens, is whole, has all that was acknowledged, once; the backup and the older ledger are good."""
    toml = root / "data/shop.toml"
    toml.write_text(
        f'recordings_url = "file://{root / "store"}"\n'
    )  # where the rest of the disk lies now
    shop = Workshop(root / "data")
    try:
        assert list(shop.book.check_chain()) == [], where
        assert list(check_recordings(shop)) == [], where
        assert list(check_index(shop)) == [], where
        assert list(check_ends(shop, [])) == [], where
        serials = {p.serial for p in shop.book.jobs.pieces()}
        kinds = [e.kind for e in whole_story(shop, "D-1")] if "D-1" in serials else []
        for what, kind in KINDS.items():
            assert kinds.count(kind) <= 1, (where, what)
            assert what not in marks or kinds.count(kind) == 1, (where, what)
        old = sum(s.startswith("O-") for s in serials)
        assert old in (0, 5) and ("old" not in marks or old == 5), where
    finally:
        shop.close()
    if "backup" in marks:
        shutil.rmtree(root / "restored", ignore_errors=True)
        told = restore(root / "copy", root / "restored")
        assert not told.damaged, where
        restored = Workshop(root / "restored")
        there = {p.serial for p in restored.book.jobs.pieces()}
        assert "piece" not in marks or "D-1" in there, where
        restored.close()
    url = f"sqlite:///{root / 'before/ledger.sqlite'}"
    engine = connected(url)
    assert version_of(engine) in ("0012", HEAD), where
    engine.dispose()
    assert "upgrade" not in marks or upgrade_ledger(url, None) is None, where
    upgrade(root / "before")
    if "forward" in marks:
        main = Workshop(root / "main")
        assert list(main.book.check_chain()) == [] and list(check_recordings(main)) == [], where
        there = {p.serial for p in main.book.jobs.pieces()}
        assert "piece" not in marks or "D-1" in there, where
        main.close()
