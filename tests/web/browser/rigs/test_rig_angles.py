"""The check of a rig's angles in a real browser: typed, seen, kept; and what the model says of a table's gaps."""

import pytest
from web.browser.pages import axe, open_page, small_targets

BEFORE = "60000 0.12 35\n75000 0.20 50\n90000 0.31 80"
AFTER = "60000\t0.12\t126\n75000\t0,20\t139\n90000\t0.31\t170"


@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_the_mark_moved_is_seen_and_kept(browser, server, size):
    page = open_page(browser, size)
    rig = f"stand {size}"
    made = page.request.post(f"{server.url}/api/v1/rigs", data={"name": rig, "content": {}})
    assert made.status == 201
    page.goto(f"{server.url}/rigs")
    page.click(f"main a[href='/rig-angles/{rig.replace(' ', '%20')}']")
    assert "No check has told" in page.inner_text("main")
    page.fill("[name=table_1]", BEFORE)
    page.fill("[name=table_2]", AFTER)
    page.click("[name=do][value=look]")
    assert "unit" in page.inner_text("[role=alert]")  # never guessed
    page.select_option("[name=unit]", "g")
    page.select_option("[name=measure]", "peak")
    page.click("[name=do][value=look]")
    assert "count with rotation" in page.inner_text("#found")
    assert not axe(page) and not small_targets(page)
    page.fill("[name=zero_deg]", "70")
    page.click("[name=do][value=keep]")
    said = page.inner_text("main section.panel")
    assert "count with rotation (the mark moved" in said and "at 70°" in said
    assert [f for f in page.faults if "422" not in f] == []  # the refusal above


def test_two_cuts_have_three_tables_and_their_places(browser, server):
    page = open_page(browser, "tablet")
    page.request.post(f"{server.url}/api/v1/rigs", data={"name": "cuts", "content": {}})
    page.goto(f"{server.url}/rig-angles/cuts")
    page.click("main nav a[href='?way=cuts']")
    assert page.locator("main textarea").count() == 3
    assert page.locator("[name=at_2]").is_visible() and page.locator("[name=moved]").count() == 0
    assert not axe(page) and not small_targets(page)


def test_a_model_s_form_says_how_far_a_table_s_speeds_may_stand_apart(browser, server):
    page = open_page(browser, "bench")
    page.goto(f"{server.url}/models/edit?name=Larch%2052")
    page.click("summary:has-text('Limits')")
    page.fill("[name=table_gap_share]", "0.5")
    page.click("button:has-text('Write it down')")
    assert page.locator("#fault-table_gap_share").is_visible()
    page.fill("[name=table_gap_share]", "0,1")
    page.click("button:has-text('Write it down')")
    kept = page.request.get(f"{server.url}/api/v1/models/Larch 52").json()
    assert kept["table_gap_share"] == 0.1
