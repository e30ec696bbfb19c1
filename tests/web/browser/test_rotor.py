"""Rotors, machines and matching in a browser: the whole path at both sizes, and by keyboard."""

import pytest
from web.browser.pages import axe, open_page, picture, small_targets

MACHINE = "simulated low-speed machine"


def measure(page):
    """Press "measure the supports" and wait for the answer: the page renews itself while it runs.

    Asking for the page here as well would race its own renewal.
    """
    with page.expect_navigation():
        page.get_by_role("button", name="measure the supports").click()
    page.locator(".question:not(.measuring)").wait_for(timeout=60_000)


@pytest.mark.slow
@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_from_a_new_rotor_to_its_sheet(server, browser, size):
    page = open_page(browser, size)
    serial = f"R-{size}"
    page.goto(f"{server.url}/rotors")
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"rotors-{size}")
    page.locator("main [name=serial]").fill(serial)
    page.locator("[name=rotor]").select_option("Larch 52 shaft and wheel")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/rotor/{serial}")
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"rotor-new-{size}")
    measure(page)
    assert page.locator(".order").count() >= 2
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"rotor-correct-{size}")
    for _ in range(3):
        if page.locator(".question.done").count():
            break
        page.get_by_role("button", name="Done, as advised").click()
        measure(page)
    assert "Within tolerance" in page.locator(".stamp").inner_text()
    picture(page, f"rotor-done-{size}")
    with page.expect_download() as download:
        page.get_by_role("button", name="The customer’s sheet").click()
    assert download.value.suggested_filename.startswith("sheet-")
    page.goto(f"{server.url}/find?q={serial}")  # a scan leads to the rotor's own page
    page.wait_for_url(f"**/rotor/{serial}")
    assert page.faults == []


def test_a_display_is_written_down_and_a_fault_keeps_what_was_typed(server, browser):
    page = open_page(browser, "bench")
    page.goto(f"{server.url}/rotors")
    page.locator("main [name=serial]").fill("R-typed")
    page.locator("[name=rotor]").select_option("Blower 900")
    page.keyboard.press("Enter")
    page.wait_for_url("**/rotor/R-typed")
    page.locator("[name=amount-0]").fill("-3")
    for name, value in {"angle-0": "77", "amount-1": "9000", "angle-1": "200,5"}.items():
        page.locator(f"[name={name}]").fill(value)
    page.get_by_role("button", name="Write the display down").click()
    assert "negative" in page.locator(".fault").inner_text()
    assert page.locator("[name=angle-1]").input_value() == "200,5"
    page.locator("[name=amount-0]").fill("21000")
    page.get_by_role("button", name="Write the display down").click()
    assert "×" in page.locator(".order").first.inner_text()  # masses of a set
    page.get_by_text("Done differently").click()
    page.locator("[name=plane]").select_option("left")
    page.locator("[name=angle_deg]").fill("260")
    page.locator("[name=amount_gmm]").fill("20000")
    page.get_by_role("button", name="Write it down").click()
    assert "Measure again" in page.locator("h2").first.inner_text()
    assert page.faults == [] or all("422" in f for f in page.faults)


@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_a_machine_is_proved_and_parts_are_matched(server, browser, size):
    page = open_page(browser, size)
    page.goto(f"{server.url}/machines/{MACHINE}")
    page.get_by_text("Residual test: a mass").click()
    assert axe(page) == [] and small_targets(page) == []
    for plane in (1, 2):
        for k in range(12):
            page.locator(f"[name=plane{plane}-{k}]").fill("12,1" if (plane, k) == (2, 5) else "10")
    page.get_by_role("button", name="Judge and keep").click()
    assert "not passed" in page.locator(".card .verdict").first.inner_text()
    assert "did not pass" in page.locator(".fault").inner_text()
    assert axe(page) == []
    picture(page, f"machine-{size}")
    page.get_by_text("Residual test: a mass").click()
    for plane in (1, 2):
        for k in range(12):
            page.locator(f"[name=plane{plane}-{k}]").fill("10")
    page.get_by_role("button", name="Judge and keep").click()
    assert "passed" in page.locator(".card .verdict").first.inner_text()
    assert page.locator(".fault").count() == 0
    page.get_by_text("Index: rotor or fixture?").click()
    page.locator("[name=indexed]").fill("5.9867@48.296 4.7074@6.469")
    page.get_by_role("button", name="Tell them apart").click()
    assert "Rotor 5 at 30°" in page.locator(".big").inner_text()
    page.get_by_text("Which masses?").click()
    page.get_by_label("Claimed least residual a plane").fill("0.5")
    page.locator("[name=radius_mm]").fill("50")
    page.get_by_role("button", name="Work out").click()
    assert "0.1 g" in page.locator(".big").first.inner_text()
    page.goto(f"{server.url}/matching")
    assert axe(page) == [] and small_targets(page) == []
    page.locator("[name=steps]").fill("nut=50")
    page.get_by_role("button", name="Propose").click()
    assert "divide" in page.locator(".fault").inner_text()
    page.locator("[name=steps]").fill("nut=60")
    page.get_by_role("button", name="Propose").click()
    page.wait_for_url("**/matching?kept=*")
    assert page.locator("tbody tr").count() == 2
    picture(page, f"matching-{size}")
    page.goto(f"{server.url}/rotors/kind")
    page.locator("textarea").fill('kind = "rotor"')
    page.get_by_role("button", name="Write it down").click()
    assert "name" in page.locator(".fault").inner_text()
    assert page.locator("textarea").input_value() == 'kind = "rotor"'
    assert all("422" in f for f in page.faults)
