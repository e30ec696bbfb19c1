"""The whole job in a browser, at both screen sizes, by keyboard alone and by touch alone."""

import re
import time
from pathlib import Path

import pytest
from web.browser.pages import (
    SIZES,
    axe,
    hold,
    open_page,
    picture,
    press,
    say_yes,
    small_targets,
    spin,
)
from web.browser.program import Server

ENDED = "#panel.grind, #panel.done, #panel.again, #panel.fix"


def new_piece(page, server, serial, press):
    page.goto(f"{server.url}/find?q={serial}")
    assert axe(page) == []
    page.locator("main [name=customer]").fill("Fjord Haulage")
    page.locator("[name=model]").select_option("Larch 52")
    press(page)
    page.wait_for_url(f"**/bench/{serial}")


def new_job(page, server, serial, press):
    """A job of two, and then the first piece's label is scanned."""
    page.goto(f"{server.url}/jobs/new")
    assert axe(page) == [] and small_targets(page) == []
    page.locator("[name=customer]").fill("Fjord Haulage")
    page.locator("[name=invoice]").fill(f"F-{serial}")
    for i, place in enumerate(("left", "right")):
        page.locator(f"[name=serial-{i}]").fill(f"{serial}{'' if i == 0 else '-b'}")
        page.locator(f"[name=model-{i}]").select_option("Larch 52")
        page.locator(f"[name=position-{i}]").select_option(place)
    press(page)
    page.wait_for_url(re.compile(r"/jobs/[0-9a-f-]{36}$"))
    assert axe(page) == [] and small_targets(page) == []
    page.locator("#q").fill(serial)  # a scanner types and presses Enter
    page.locator("#q").press("Enter")
    page.wait_for_url(f"**/bench/{serial}")
    page.wait_for_selector(".checks b:text('Sensor alive')")  # it listens by itself


@pytest.mark.slow
@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("by", ["keyboard", "touch"])
def test_from_new_piece_to_sheet(server, browser, size, by):
    page = open_page(browser, size, has_touch=by == "touch", accept_downloads=True)
    serial = f"{by}-{size}"

    def press(page):
        if by == "touch":
            page.locator("[data-next]").tap()
        else:  # a pedal is a key; a moment after something new is shown it sleeps
            page.wait_for_selector("[data-next]:not(.asleep)")
            page.keyboard.press("PageDown")

    new_job(page, server, serial, press)
    picture(page, f"bench-set-up-{size}")
    for _ in range(8):
        if page.locator("#panel.again, #panel.fix").count():
            page.wait_for_timeout(450)
            page.locator("form[action$='/prepare'] button").click()
        page.wait_for_selector("#panel.prepare")
        assert axe(page) == [] and small_targets(page) == []
        say_yes(page)
        assert axe(page) == [] and small_targets(page) == []
        hold(page, by)
        page.wait_for_selector("#panel.spinning")
        for _ in range(200):  # the page's policy forbids evaluated conditions, rightly
            speed = re.sub(r"\D", "", "".join(page.locator("#speed").all_inner_texts()))
            if not page.locator("#panel.spinning").count() or int(speed or 0) > 60_000:
                break
            time.sleep(0.03)
        for amplitude in page.locator("#amplitude").all_inner_texts():  # none when it has ended
            assert re.fullmatch(r"\d+\.\d\d", amplitude)
        assert axe(page) == []
        picture(page, f"bench-spin-{size}")
        try:
            page.wait_for_selector(ENDED, timeout=60_000)
        except Exception as fault:
            raise AssertionError(page.inner_text("#panel")) from fault
        page.wait_for_selector("[data-chart] svg")
        assert axe(page) == [] and small_targets(page) == []
        picture(page, f"bench-{page.get_attribute('#panel', 'data-question')}-{size}")
        if page.locator("#panel.done").count():
            break
        if page.locator("#panel.grind").count():
            assert re.search(r"\d+:\d\d, \d\.\d\d mm", page.inner_text("#say"))
            press(page)
    assert "Passed" in page.inner_text("#say")
    assert page.locator("[data-next]").get_attribute("href") == f"/bench/{serial}-b"
    with page.expect_download() as download:
        page.get_by_text("The customer’s sheet").last.click()
    assert Path(download.value.path()).read_bytes().startswith(b"%PDF")
    assert page.faults == []
    page.context.close()


@pytest.mark.slow
def test_ground_differently_and_bad_entry(server, browser):
    page = open_page(browser, "bench")
    new_piece(page, server, "differently", lambda p: p.locator("[data-next]").click())
    spin(page)
    page.wait_for_selector("#panel.grind", timeout=30_000)
    press(page, ".act a[href$='/differently']")
    page.wait_for_selector("#panel.differently")
    for other in ("#depth-1", "#depth-2"):  # where several are advised, one alone was made
        if page.locator(other).count():
            page.locator(other).fill("")
            page.locator(other).press("Tab")
            page.wait_for_timeout(400)
    assert axe(page) == [] and small_targets(page) == []
    page.locator("#depth-0").fill("deep")
    page.locator("#depth-0").press("Tab")
    page.wait_for_selector("#panel [role=alert]")
    assert "not a number" in page.inner_text("#panel")
    assert page.input_value("#depth-0") == "deep"  # nothing typed is lost
    assert axe(page) == [] and page.locator("[data-next]").count() == 0
    clock = page.input_value("#clock-0")
    page.locator("#depth-0").fill("3,00")  # tenfold: asked back, and nothing is written meanwhile
    page.locator("#depth-0").press("Tab")
    really = page.locator("button.yes.no")
    really.wait_for()
    assert axe(page) == [] and small_targets(page) == []
    assert page.locator(".story .was").count() == 0
    page.locator(".typed-card button[name=answer]:not(.no)").click()
    page.wait_for_selector("#panel.differently [data-next]")
    depth = float(page.input_value("#depth-0"))
    assert 0 < depth < 1
    press(page, "[data-next]")
    page.wait_for_selector("#panel.prepare")
    assert f"{clock} · {depth:.2f} mm" in page.inner_text(".story")
    page.locator(".story .was").click()  # it was another angle: an amendment
    page.wait_for_selector("[name=why]")
    assert axe(page) == [] and small_targets(page) == []
    page.locator("[name=angle_deg]").fill("132")
    page.locator("[name=why]").fill("two digits changed places")
    page.get_by_text("This is what was ground").click()
    page.wait_for_selector("#panel.prepare")
    page.locator(".story .was").click()
    page.locator("[name=why]").fill("wrong piece in hand")
    page.get_by_text("It was never ground").click()
    page.wait_for_selector("#panel.grind")
    assert page.locator(".story .was").count() == 0
    page.context.close()


@pytest.mark.slow
def test_reload_and_second_browser_see_the_same_spin(server, browser):
    one, two = open_page(browser, "bench"), open_page(browser, "tablet")
    new_piece(one, server, "shared", lambda p: p.locator("[data-next]").click())
    two.goto(f"{server.url}/bench/shared")
    two.wait_for_selector("#panel.prepare")
    spin(one)
    two.wait_for_selector("#panel.spinning")  # it goes on by itself
    one.reload()
    one.wait_for_selector("#panel.spinning")
    for page in (one, two):
        page.wait_for_selector(ENDED, timeout=30_000)
        assert "Run 1" in page.inner_text(".story")
        assert page.faults == []
        page.context.close()


def test_one_rig_spins_one_piece(server, browser):
    one, two = open_page(browser, "bench"), open_page(browser, "bench")
    for page, serial in ((one, "busy-1"), (two, "busy-2")):
        new_piece(page, server, serial, lambda p: p.locator("[data-next]").click())
    spin(one)
    two.reload()
    assert "busy-1 is spinning" in two.inner_text("#say")
    one.locator("[data-next]").click()  # stop
    one.wait_for_selector("#panel:not(.spinning):not(.reading)", timeout=20_000)
    one.context.close()
    two.context.close()


@pytest.mark.slow
def test_kill_9_in_the_middle_of_a_spin_loses_nothing_written(tmp_path, browser):
    server = Server(tmp_path / "data", pace=1.0)
    page = open_page(browser, "bench")
    new_piece(page, server, "killed", lambda p: p.locator("[data-next]").click())
    spin(page)
    time.sleep(4.0)
    server.kill()
    left = list((tmp_path / "data/capture").glob("*.wav"))
    assert len(left) == 1
    from heavyspot import open_recording

    seconds = sum(b.data.shape[0] for b in open_recording(left[0]).blocks()) / 51_200
    assert seconds > 3.0
    server.start()
    page.goto(f"{server.url}/bench/killed")
    assert "interrupted" in page.inner_text("#panel")
    assert axe(page) == []
    page.locator(
        "[data-next]:not(.asleep)"
    ).click()  # what has just come under a finger is not pressed
    page.wait_for_selector(ENDED)
    assert "Run 1" in page.inner_text(".story")
    assert not list((tmp_path / "data/capture").glob("*.wav"))
    page.context.close()
    server.stop()


@pytest.mark.slow
def test_dark_is_readable_too(server, browser):
    page = open_page(browser, "bench", color_scheme="dark")
    for place in ("/", "/jobs", "/jobs/new", "/models", "/models/edit", "/rigs", "/rigs/edit"):
        page.goto(server.url + place)
        assert axe(page) == []
    new_piece(page, server, "dark", lambda p: p.locator("[data-next]").click())
    assert axe(page) == []
    page.context.close()


def test_page_weight(server, browser):
    page = open_page(browser, "bench")
    sizes = []
    page.on("response", lambda r: sizes.append(len(r.body())))
    new_piece(page, server, "weight", lambda p: p.locator("[data-next]").click())
    sizes.clear()
    page.reload()
    page.wait_for_load_state("networkidle")
    assert 0 < sum(sizes) < 1_500_000
    page.context.close()


@pytest.mark.slow
def test_look_closer_at_a_run(server, browser):
    page = open_page(browser, "tablet")
    new_piece(page, server, "closer", lambda p: p.locator("[data-next]").click())
    spin(page)
    page.wait_for_selector(ENDED, timeout=30_000)
    page.locator(".story a.run").first.click()
    page.wait_for_url("**/look/1/closer")
    for name in ("amplitude", "angle", "wave", "spectrum"):
        page.wait_for_selector(f"#{name}-chart svg path.now", state="attached")
    page.wait_for_selector("#look[data-map=drawn]")
    picture(page, "look-closer-tablet")
    page.locator("#amplitude-chart").focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_selector("#amplitude-chart output:has-text('rpm')")
    page.wait_for_selector("#angle-chart output:has-text('rpm')")  # one place on every chart
    page.locator("#log").check()
    page.wait_for_selector("#spectrum-chart svg text:has-text('0.0001')", state="attached")
    page.locator("[data-numbers]").first.click()
    page.wait_for_selector("#numbers[open] td")
    page.locator("#numbers button").click()
    assert axe(page) == [] and small_targets(page) == []
    assert page.faults == []
    page.context.close()


@pytest.mark.slow
@pytest.mark.parametrize("size", SIZES)
def test_pages_of_the_workshop(server, browser, size):
    page = open_page(browser, size)
    page.goto(f"{server.url}/find?q=page-{size}")
    page.locator("[name=model]").select_option("Larch 52")
    page.locator("[data-next]").click()
    page.wait_for_url(f"**/bench/page-{size}")
    places = {
        "day-book": "/", "jobs": "/jobs", "models": "/models", "rigs": "/rigs",
        "model": "/models/edit?name=Larch%2052", "rig": "/rigs/edit?name=simulated%20rig",
        "piece": f"/pieces/page-{size}", "new-job": "/jobs/new", "gains": "/gains",
    }  # fmt: skip
    for name, place in places.items():
        page.goto(server.url + place)
        assert axe(page) == [] and small_targets(page) == [], name
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), name
        picture(page, f"{name}-{size}")
    page.goto(f"{server.url}/models/edit")
    page.locator("[name=name]").fill(f"Elm {size}")
    page.locator("[name=rated_speed_rpm]").fill("fast")
    page.get_by_text("Write it down").click()
    page.wait_for_selector("[aria-invalid]")
    assert axe(page) == []
    picture(page, f"model-wrong-{size}")
    assert page.faults == [] or all("422" in f for f in page.faults)
    page.context.close()
