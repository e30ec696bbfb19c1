"""The build record at the bench and a piece's story, in a browser."""

import pytest
from web.browser.pages import axe, open_page, picture, small_targets


@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_build_record_and_story(server, browser, size):
    page = open_page(browser, size)
    model, serial = f"Yew 52 {size}", f"Y-{size}"
    text = (
        f'name = "{model}"\nrotation = "clockwise"\nrated_speed_rpm = 175000\ntest_speed_rpm = 150000\n'
        "clearance_mm = {end_play = [0.05, 0.09], radial_play = [0.3, 0.5]}\n"
        '[[plane]]\nname = "nut"\nradius_mm = 6.0\n'
    )
    done = page.request.post(f"{server.url}/models/text", form={"text": text})
    assert done.ok
    page.goto(f"{server.url}/find?q={serial}")
    page.locator("[name=model]").select_option(model)
    page.locator("[data-next]").click()
    page.wait_for_url(f"**/bench/{serial}")
    assert "build record" in page.inner_text("#say")
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"bench-build-{size}")
    page.locator("[name=clearance-end_play]").fill("0,12")
    page.locator("[name=clearance-radial_play]").fill("0.4")
    page.locator("[name=gauge]").fill("G-7")
    page.get_by_role("button", name="Write it down").last.click()
    page.wait_for_selector("text=Out of limit")
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"bench-out-{size}")
    page.locator(".inspector summary").click()
    page.locator("[name=why]").fill("the customer’s own bearing")
    page.get_by_role("button", name="Sign").click()
    page.wait_for_selector("#panel.prepare")
    page.goto(f"{server.url}/story/{serial}")
    page.locator("[name=kind]").select_option("returned")
    page.locator("form[action^='/story'] [name=text]").fill("howls at half load")
    page.locator("form[action^='/story'] button").click()
    told = page.locator(".story").inner_text()
    for words in ("Taken in", "✗ End play 0.12 mm", "Signed by an inspector", "howls at half load"):
        assert words in told
    assert axe(page) == [] and small_targets(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    picture(page, f"story-{size}")
    assert page.faults == []
