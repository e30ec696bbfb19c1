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


@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_a_sensor_is_dragged_to_its_hour_and_moved_by_keys(server, browser, size):
    page = open_page(browser, size)
    page.goto(f"{server.url}/connect?source=sound")
    hand = page.locator("[data-clock=clock-0]")
    hand.wait_for()
    page.locator(".clock-places").scroll_into_view_if_needed()
    at, face = (
        hand.locator("circle.acceleration").bounding_box(),
        page.locator(".clock-places").bounding_box(),
    )
    middle = face["x"] + face["width"] / 2, face["y"] + face["height"] / 2
    page.mouse.move(at["x"] + at["width"] / 2, at["y"] + at["height"] / 2)
    page.mouse.down()
    page.mouse.move(middle[0], middle[1] + face["height"] / 3, steps=6)  # straight down: 6 o'clock
    page.mouse.up()
    now = "hour => document.querySelector('[data-clock=clock-0]').getAttribute('aria-valuenow') === hour"
    until(page, now, "6")
    assert page.locator("[name=clock-0]").input_value() == "6"
    hand.focus()
    page.keyboard.press("ArrowRight")
    until(page, now, "6.5")
    until(
        page, "() => document.activeElement.dataset.clock === 'clock-0'"
    )  # the next press moves it too
    page.keyboard.press("ArrowLeft")
    until(page, now, "6")
    assert axe(page) == [] and small_targets(page) == []
    assert page.faults == []
    page.context.close()
