"""The ledger on PostgreSQL: the same tables, the same answers, one chain, and there and back again."""

import threading

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from ledger.postgres import new_database, server
from loop.loop import model_of
from sqlalchemy import text

from heavyspot.ledger.book import Book
from heavyspot.ledger.exchange.move import move_ledger
from heavyspot.ledger.store.schema import open_engine
from heavyspot.ledger.store.tables import metadata
from heavyspot.quantities.errors import LedgerFault
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.grinding import ground_as_advised
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.job.build_record import tell
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.shop import Workshop


@pytest.fixture(scope="module")
def postgres():
    with server() as url:
        yield url


@pytest.fixture
def url(postgres, request):
    """An empty database."""
    return new_database(postgres, request.node.name)


def filled(folder, url=None):
    book = Book(folder, url)
    book.models.add(
        "Larch 52", model_of("Larch 52", 150_000.0, 52.0).model_dump(mode="json"), by="Ida"
    )
    for n, customer in enumerate(["Nordhafen Motor", "Tidal Works", "Müller & Søn"] * 5):
        book.jobs.add_piece(
            f"L52-{n:04d}", "Larch 52", customer=customer, invoice=f"26-{n}", by="Ida"
        )
    return book


def test_migrations_make_exactly_the_tables(url):
    engine = open_engine(url)
    ours = {"include_name": lambda name, kind, _: kind != "table" or not name.startswith("search")}
    with engine.connect() as c:
        assert compare_metadata(MigrationContext.configure(c, opts=ours), metadata) == []
    engine.dispose()


@pytest.mark.parametrize(
    "typed",
    ["L52-0007", "0007", "nordhafen", "MULLER son", "tidal 52", "verdict:pass", "l52 from:2999-01-01",
     "nordhaven", "tidal wroks", "zzzyyyxxx", "100% _", "l52 customer:tid"],
)  # fmt: skip
def test_both_find_the_same(both, typed):
    one, two = (b.search.find(typed) for b in both)
    assert one.exact == two.exact or not one.rows
    assert {r.serial for r in one.rows} == {r.serial for r in two.rows}


@pytest.fixture(scope="module")
def both(postgres, tmp_path_factory):
    folder = tmp_path_factory.mktemp("both")
    pair = filled(folder / "sqlite"), filled(folder / "postgres", postgres)
    yield pair
    for book in pair:
        book.close()


def test_several_writers_make_one_chain(url, tmp_path):
    book = filled(tmp_path, url)

    def write(k):
        for n in range(10):
            book.jobs.add_piece(f"W-{k}-{n}", "Larch 52", by=f"writer {k}")

    threads = [threading.Thread(target=write, args=(k,)) for k in range(4)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert list(book.check_chain()) == []
    assert book.head()[0] == 1 + 2 * 15 + 2 * 40
    with pytest.raises(LedgerFault, match="there already"):
        book.jobs.add_piece("W-0-0", "Larch 52")
    book.close()


def test_there_and_back_again_is_the_same(url, tmp_path):
    old = filled(tmp_path / "a")
    head, pieces = old.head(), old.jobs.pieces()
    old.close()
    source = f"sqlite:///{tmp_path / 'a/ledger.sqlite'}"
    back = f"sqlite:///{tmp_path / 'b.sqlite'}"
    assert move_ledger(source, url) == head
    assert move_ledger(url, back) == head
    with pytest.raises(LedgerFault, match="already"):
        move_ledger(source, url)
    for where in (url, back):
        book = Book(tmp_path, where)
        assert book.jobs.pieces() == pieces and list(book.check_chain()) == []
        assert [r.serial for r in book.search.find("0007").rows] == ["L52-0007"]
        book.close()


def test_a_source_that_is_not_whole_is_not_moved(url, tmp_path):
    import sqlite3

    filled(tmp_path).close()
    with sqlite3.connect(tmp_path / "ledger.sqlite") as c:
        c.execute("pragma foreign_keys=off")
        c.execute("delete from jobs where invoice = '26-3'")
    with pytest.raises(LedgerFault, match="is missing"):
        move_ledger(f"sqlite:///{tmp_path / 'ledger.sqlite'}", url)
    engine = open_engine(url)
    with engine.connect() as c:
        assert c.execute(text("select count(*) from pieces")).scalar() == 0  # all or nothing
    engine.dispose()


def test_a_shops_day_on_postgresql(url, tmp_path):
    (tmp_path / "shop.toml").write_text(f'ledger_url = "{url}"\n')
    shop = Workshop(tmp_path)
    add_model(
        shop, model_of("Larch 52", 150_000.0, 52.0).model_dump(mode="json", exclude_unset=True)
    )
    add_piece(shop, "P-1", "Larch 52", customer="Tidal Works")
    unit = make_cartridge("Larch 52", 3, peak_g=1.5)
    quick = SpinSettings(run_up_s=3.0, coast_s=1.0, sample_rate_hz=25_600.0)
    first = spin(shop, "P-1", simulated_recording(unit, 1, quick), operator="Ida", rig="north")
    ground_as_advised(shop, "P-1", by="Ida")
    cut = first.advice.cuts[0]
    spin(
        shop,
        "P-1",
        simulated_recording(unit.ground("nut", cut.angle_deg, cut.unbalance_gmm), 2, quick),
    )
    tell(shop, "P-1", "note", "as agreed", by="Ida")
    assert [e.kind for e in whole_story(shop, "P-1")][:4] == ["written", "run", "cut", "run"]
    assert list(shop.book.check_chain()) == []
    assert not (tmp_path / "ledger.sqlite").exists()
    shop.close()
