"""The ledger as a whole, in a browser: the old book looked at and taken, long work watched."""

import pytest
from web.browser.pages import axe, open_page, picture, small_targets
from web.browser.program import Server

from heavyspot.workshop.job.editing import amend_job
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.shop import Workshop, find_piece
from heavyspot.workshop.station.line import HttpLine
from heavyspot.workshop.station.station import exchange, join

BOOK = "Datum;Serien-Nr.;Kunde;Rechnung;Typ;Drehzahl;Vorher;Nachher;Ergebnis;Prüfer;Bemerkung\n"


@pytest.mark.slow
@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_the_old_book_is_looked_at_then_taken(server, browser, tmp_path, size):
    page = open_page(browser, size)
    names = ("Nordhafen Motor", "NORDHAFEN MOTORS", f"Tidal {size} Haulage", f"Tidal {size} Haulge")
    rows = [
        f"{1 + i % 28:02d}.03.{2010 + i % 9};O{size[0]}-{i:04d};{names[i % 4]};{i // 2};Larch 52;"
        f"150k;2,{i % 90};0,2;OK;Ida;\n"
        for i in range(5000)
    ]
    rows[7] = rows[7].replace("150k", "quick")
    book = tmp_path / f"old-{size}.csv"
    book.write_text(BOOK + "".join(rows), encoding="utf-8")
    page.goto(f"{server.url}/ledger")
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"ledger-{size}")
    page.get_by_role("link", name="Bring it in").click()
    assert axe(page) == [] and small_targets(page) == []
    page.locator("[name=file]").set_input_files(str(book))
    page.get_by_role("button", name="Look at it").click()
    page.wait_for_selector("text=5,000 rows")
    assert page.locator("[name=column-serial]").input_value() == "Serien-Nr."
    assert axe(page) == [] and small_targets(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    picture(page, f"old-book-{size}")
    page.get_by_label(f"Tidal {size} Haul").first.check()
    page.get_by_role("button", name="Take the rows").click()
    page.wait_for_selector("text=✓ Done.", timeout=60_000)
    assert "4,999 of 5,000 rows taken" in page.locator("#state").inner_text()
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"work-{size}")
    with page.expect_download() as got:
        page.get_by_role("link", name="not taken").click()
    assert '""quick"" is no speed' in got.value.path().read_text(encoding="utf-8-sig")
    page.goto(f"{server.url}/story/O{size[0]}-0000")
    assert "Old book" in page.locator(".story").inner_text()
    picture(page, f"story-old-{size}")
    assert page.faults == []


@pytest.fixture(scope="module")
def main_house(tmp_path_factory):
    """A small ledger: a station gets the whole of it first, of the shared server ten thousand old rows."""
    made = Server(tmp_path_factory.mktemp("main house") / "data")
    yield made
    made.stop()


@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_what_two_buildings_disagree_on_waits_for_a_person(main_house, browser, tmp_path, size):
    page = open_page(browser, size)
    page.goto(f"{main_house.url}/buildings")
    page.locator("[name=name]").fill("East")
    page.get_by_role("button", name="Make its key").click()
    key = page.locator(".fault code").first.inner_text()
    line = HttpLine(main_house.url, key)
    join(tmp_path / "east", line, main_house.url, key)
    east = Workshop(tmp_path / "east")
    exchange(east, line)
    job = page.request.post(
        f"{main_house.url}/api/v1/pieces",
        data={"serial": f"J-{size}", "model": "Larch 52", "invoice": f"J{size}"},
    )
    assert job.ok
    exchange(east, line)
    job_id = find_piece(east, f"J-{size}").job_id
    amend_job(east, job_id, {"customer": "Gullwick Rail"}, by="Jon", why="wrong name")
    changed = page.request.patch(
        f"{main_house.url}/api/v1/jobs/{job_id}",
        data={"changes": {"customer": "Gullwick Rails"}, "why": "typing"},
    )
    assert changed.ok
    add_piece(east, f"TWIN-{size}", "Larch 52", by="Jon")
    assert page.request.post(
        f"{main_house.url}/api/v1/pieces", data={"serial": f"TWIN-{size}", "model": "Larch 52"}
    ).ok
    exchange(east, line)
    page.goto(f"{main_house.url}/buildings")
    told = page.locator("main").inner_text()
    assert f"TWIN-{size}" in told and "customer is" in told
    assert axe(page) == [] and small_targets(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    picture(page, f"buildings-{size}")
    page.locator("[name=why]").first.fill("looked at both")
    page.locator("[name=serial]").first.fill(f"TWIN-{size} east")
    page.get_by_role("button", name="Let it in").first.click()
    page.wait_for_url("**/story/**")
    page.goto(f"{main_house.url}/buildings")
    page.locator("form[action='/buildings/clashes'] [name=why]").first.fill("asked them")
    page.get_by_role("button", name="Settled").first.click()
    assert "Nothing is held" in page.locator("main").inner_text()
    assert page.faults == []
    east.close()
