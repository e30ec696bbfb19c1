"""Connecting a rig in a browser: live levels, the turn by hand, the drawing that follows what is typed."""

import pytest
from web.browser.pages import axe, open_page, picture, small_targets, until


@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_levels_live_and_marks_are_counted(server, browser, size):
    page = open_page(browser, size)
    page.goto(f"{server.url}/connect")
    assert axe(page) == [] and small_targets(page) == []
    page.get_by_role("link", name="Simulated").click()
    page.locator("[name=do][value=listen]").click()
    page.wait_for_selector("#heard .level >> nth=1")
    page.wait_for_selector("#heard:has-text('as many as you turned?')", timeout=60_000)
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"connect-{size}")
    assert page.faults == []
    page.context.close()


def test_the_drawing_follows_what_is_typed(server, browser):
    page = open_page(browser, "bench")
    page.goto(f"{server.url}/connect?source=sound")
    housing = page.locator(".clock-places circle.acceleration")
    housing.wait_for()
    before = housing.get_attribute("cx")
    page.locator("[name=clock-0]").fill("9")
    page.locator("[name=clock-0]").press("Tab")
    moved = "was => document.querySelector('.clock-places circle.acceleration').getAttribute('cx') !== was"
    until(page, moved, before)
    assert axe(page) == [] and small_targets(page) == []
    assert page.faults == []
    page.context.close()
