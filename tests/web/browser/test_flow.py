"""The flow bench in a browser: element, readings, verdict, where the stop belongs."""

import pytest
from web.browser.pages import axe, open_page, picture, small_targets

MODEL = """
name = "Alder V {size}"
rotation = "clockwise"
rated_speed_rpm = 175000
test_speed_rpm = 150000
[[plane]]
name = "nut"
radius_mm = 6.0
[[flow]]
name = "closed"
position = 0
low_kg_s = 0.030
high_kg_s = 0.045
[[flow]]
name = "open"
position = 10
low_kg_s = 0.09
high_kg_s = 0.13
[stop]
wanted_kg_s = 0.05
per_turn = 1.5
"""


@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_a_flow_test_from_element_to_stop(server, browser, size):
    page = open_page(browser, size)
    assert page.request.post(f"{server.url}/models/text", form={"text": MODEL.format(size=size)}).ok
    serial = f"V-{size}"
    assert page.request.post(
        f"{server.url}/api/v1/pieces", data={"serial": serial, "model": f"Alder V {size}"}
    ).ok
    page.goto(f"{server.url}/flow-bench/Flow 1")
    page.locator("[name=element]").select_option("isa 1932 nozzle")
    page.locator("[name=pipe_mm]").fill("80")
    page.locator("[name=bore_mm]").fill("40")
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"flow-bench-{size}")
    page.get_by_role("button", name="Write it down").click()
    page.goto(f"{server.url}/flow/{serial}")
    for i, (position, drop) in enumerate(
        (("0", "0,42"), ("3", "1,0"), ("7", "2,1"), ("10", "3,1"))
    ):
        page.locator(f"[name=position-{i}]").fill(position)
        page.locator(f"[name=drop_kpa-{i}]").fill(drop)
        page.locator(f"[name=upstream_kpa-{i}]").fill("100")
        page.locator(f"[name=temperature_c-{i}]").fill("22")
    page.locator("[name=stop_at]").fill("1")
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"flow-new-{size}")
    page.get_by_role("button", name="Judge and keep").click()
    page.wait_for_selector("text=Turn the stop")
    assert axe(page) == [] and small_targets(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    picture(page, f"flow-{size}")
    assert page.faults == []
