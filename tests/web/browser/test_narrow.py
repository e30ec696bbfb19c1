"""A phone: no page is wider than its screen, and a scan is within reach on all of them."""

import pytest
from web.browser.pages import SIZES, open_page, until

PLACES = (
    "/", "/jobs", "/jobs/new", "/rotors", "/matching", "/models", "/models/edit", "/insight", "/gains",
    "/insight/limits", "/insight/claims", "/rigs", "/rigs/edit", "/rig-health/simulated%20rig",
    "/rig-angles/simulated%20rig", "/rereads", "/ledger",
    "/old-book", "/buildings", "/book", "/help", "/find?q=L", "/bench/PHONE-1", "/story/PHONE-1",
    "/recordings/PHONE-1", "/flow/PHONE-1", "/pieces/PHONE-1", "/nothing-here",
)  # fmt: skip


@pytest.fixture(scope="module")
def phone(server, browser):
    serial = {"serial": "PHONE-1", "model": "Larch 52", "customer": "Fjord Haulage"}
    SIZES["phone"] = (390, 844)
    page = open_page(browser, "phone")
    made = page.request.post(f"{server.url}/api/v1/pieces", data=serial)
    assert made.ok
    yield page
    page.context.close()


@pytest.mark.parametrize("place", PLACES)
def test_no_page_is_wider_than_a_phone_and_scan_is_on_it(server, phone, place):
    phone.goto(server.url + place)
    until(phone, "document.documentElement.scrollWidth <= innerWidth")
    key = phone.locator("[data-scan]:visible, [data-by-hand]:visible")
    key.first.wait_for()
    box = key.first.bounding_box()
    assert box["x"] >= 0 and box["x"] + box["width"] <= 390 and box["y"] + box["height"] <= 844
    assert box["width"] >= 44 and box["height"] >= 44
