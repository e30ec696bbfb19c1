"""Two rigs, a screen at each: both pieces spin at once, hands free, and each screen shows its own."""

import re
import time

import pytest
from capture.several.fake_digitiser import installed, rig_text
from web.browser.pages import SIZES, axe, open_page, picture, press, say_yes, small_targets
from web.browser.program import Server

from heavyspot import Workshop
from heavyspot.sim.cartridge import SIZES as KINDS
from heavyspot.workshop.demo.rigs import demo_model
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.models import add_model

RIGS = ("high-speed rig 1", "high-speed rig 2")


@pytest.fixture(scope="module")
def two_rigs(tmp_path_factory):
    folder = tmp_path_factory.mktemp("two rigs")
    data, more = folder / "data", []
    for seed, name in enumerate(RIGS, start=1):
        file = folder / f"{seed}.toml"
        file.write_text(rig_text(name, seed, stands_s=4))
        more += ["--rig", str(file)]
    with Workshop(data) as shop:
        add_model(shop, demo_model(KINDS["Larch 52"]))
        for n in range(1, 5):
            add_piece(shop, f"L52-{n}", "Larch 52", customer="Fjord Haulage")
    made = Server(data, more=tuple(more), demo=False, path=installed(folder / "drivers"))
    yield made
    made.stop()


@pytest.mark.parametrize("size", SIZES)
def test_a_piece_on_no_rig_is_asked_for_its_rig(two_rigs, browser, size):
    page = open_page(browser, size)
    page.goto(f"{two_rigs.url}/bench/L52-4")
    page.wait_for_selector("#panel.prepare")
    assert "Which rig" in page.locator("#say").inner_text()
    assert axe(page) == [] and small_targets(page) == []
    picture(page, f"which-rig-{size}")
    page.goto(f"{two_rigs.url}/")
    assert axe(page) == [] and small_targets(page) == []
    for rig in RIGS:
        assert page.locator(f".on-rig[aria-label='{rig}']").count() == 1
    page.goto(f"{two_rigs.url}/at/{RIGS[1]}")
    assert axe(page) == [] and small_targets(page) == []
    assert page.faults == []


def chip(page):
    return page.locator(".spine a.chip").last.inner_text().strip()


@pytest.mark.slow
def test_two_screens_spin_at_once_and_each_shows_its_own(two_rigs, browser):
    pages = {}
    for (rig, serial), size in zip(zip(RIGS, ("L52-1", "L52-2"), strict=True), SIZES, strict=True):
        page = pages[serial] = open_page(browser, size)
        page.goto(f"{two_rigs.url}/bench/{serial}")
        press(page, f".act form:has([name=rig][value='{rig}']) button")
        page.wait_for_selector(".checks b:text('Sensor alive')")
        assert chip(page) == rig
    for page in pages.values():
        say_yes(page)  # from here on each spin begins when its mark moves
    for page in pages.values():
        page.wait_for_selector("#panel.spinning")
    for page in pages.values():
        assert page.locator("#panel.spinning").count()
    day = open_page(browser, "tablet")
    day.goto(f"{two_rigs.url}/")
    assert [s.strip() for s in day.locator(".on-rig .state").all_inner_texts()] == ["Spinning"] * 2
    fastest = dict.fromkeys(pages, 0)
    until = time.monotonic() + 90
    while any(p.locator("#panel.spinning, #panel.reading").count() for p in pages.values()):
        assert time.monotonic() < until
        for serial, page in pages.items():
            speed = re.sub(r"\D", "", "".join(page.locator("#speed").all_inner_texts()))
            fastest[serial] = max(fastest[serial], int(speed or 0))
        page.wait_for_timeout(100)
    assert min(fastest.values()) > 100_000, fastest
    for serial, page in pages.items():
        page.wait_for_selector("#panel.grind")
        assert page.locator(".spine .serial").inner_text() == serial and page.faults == []
    # one is put on the other's rig: both screens say so
    one, other = pages.values()
    one.locator(".book summary").click()
    one.locator(f".book form:has([value='{RIGS[1]}']) button").click()
    one.wait_for_selector(f".spine a.chip:has-text('{RIGS[1]}')")
    other.wait_for_selector(".spine a.chip:has-text('On no rig')")
    assert one.faults == [] and other.faults == []
