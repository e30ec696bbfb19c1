"""The insight pages in a browser: numbers that lead to pieces, charts with their tables, questions of one's own."""

import pytest
from web.browser.pages import axe, open_page, picture, small_targets
from web.browser.program import Server

from benchmarks.big_shop import fill
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.shop import Workshop


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """A server on a shop of six thousand invented pieces."""
    data = tmp_path_factory.mktemp("insight") / "data"
    shop = Workshop(data)
    furnish(shop)
    fill(shop, 6000)
    shop.close()
    made = Server(data)
    yield made
    made.stop()


@pytest.mark.slow
@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_every_page_of_insight(filled, browser, size):
    page = open_page(browser, size)
    for place, words in (
        ("/insight?by=supplier", "Saltholm Foundry"), ("/insight?by=week", "2019-W"),
        ("/insight/suppliers", "as before"), ("/insight/limits", "Larch 52"), ("/insight/claims", "0 to 0.5"),
        ("/insight/ask", "A question"),
    ):  # fmt: skip
        page.goto(filled.url + place)
        assert words in page.locator("main").inner_text(), place
        assert axe(page) == [] and small_targets(page) == [], place
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), place
        name = place.split("?")[0].strip("/").replace("/", "-")
        picture(page, f"{name}-{'week-' if 'week' in place else ''}{size}")
    page.get_by_role("button", name="Ask", exact=True).click()
    assert "Alder 64" in page.locator("main").inner_text()
    refused = page.request.post(filled.url + "/insight/ask", form={"question": "drop table facts"})
    assert refused.status == 422 and "not one SELECT" in refused.text()
    page.goto(filled.url + "/insight?by=operator")
    page.get_by_role("link", name="Table").first.click()  # one press away
    page.locator("td a.row").first.click()
    page.wait_for_url("**/insight/pieces**")
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"insight-pieces-{size}")
    with page.expect_download() as got:
        page.get_by_role("link", name="All as CSV").click()
    assert got.value.path().read_text().startswith("serial,model")
    assert page.faults == []


@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_a_rig_s_health_and_what_was_judged_on_it(server, browser, size):
    page = open_page(browser, size)
    rig = f"High {size}"
    made = page.request.post(
        f"{server.url}/rigs", form={"name": rig, "kind": "high-speed rig", "master": "M-1"}
    )
    assert made.ok
    page.goto(f"{server.url}/rig-health/{rig}")
    page.locator("[name=reads]").fill("9,2")
    page.get_by_role("button", name="Keep", exact=True).click()
    page.wait_for_selector("text=over 3 %")
    assert "not been spun" in page.locator("main").inner_text()
    assert axe(page) == [] and small_targets(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    picture(page, f"rig-health-{size}")
    page.get_by_role("link", name="Read anew what was judged").click()
    assert page.locator("[name=gain]").input_value().startswith("1.08")
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"rereads-{size}")
    assert page.faults == []
