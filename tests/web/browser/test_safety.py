"""What must not happen at the bench: each of these was seen to happen, or could hurt somebody."""

import time

import pytest
from web.browser.pages import (
    SIZES,
    UNDER_FINGER_MS,
    axe,
    hold,
    open_page,
    picture,
    press,
    say_yes,
    scan,
    spin,
)
from web.browser.program import Server

ENDED = "#panel.grind, #panel.done, #panel.again, #panel.fix"


def add(page, server, serial, model="Larch 52"):
    done = page.request.post(
        f"{server.url}/api/v1/pieces", data={"serial": serial, "model": model, "customer": "Fjord"}
    )
    assert done.ok


def at_the_bench(browser, server, serial, size="bench", **more):
    page = open_page(browser, size)
    add(page, server, serial, **more)
    page.goto(f"{server.url}/bench/{serial}")
    page.wait_for_selector(".checks b:text('Sensor alive')")
    return page


def runs(page, server, serial):
    return page.request.get(f"{server.url}/api/v1/pieces/{serial}").json()


def test_a_scan_with_nothing_in_focus_presses_nothing_and_asks(server, browser):
    page = at_the_bench(browser, server, "scan-1")
    add(page, server, "scan-2")
    say_yes(page)  # the black button would spin now
    scan(page, "scan-2")
    page.wait_for_selector("#scanned[open]")
    assert "scan-2" in page.inner_text("#scanned") and "still on the bench" in page.inner_text(
        "#scanned"
    )
    assert axe(page) == []
    picture(page, "bench-scanned")
    page.keyboard.down("PageDown")  # the pedal sleeps while it asks
    time.sleep(1.3)
    page.keyboard.up("PageDown")
    scan(page, "scan-2")  # nor does its Enter press what has the focus
    page.wait_for_timeout(300)
    assert page.locator("#scanned[open]").count() == 1
    assert runs(page, server, "scan-1")["runs"] == [] and page.locator("#panel.prepare").count()
    page.locator("#scanned a").click()
    page.wait_for_url("**/bench/scan-2")
    page.context.close()


def test_a_scan_of_the_piece_on_the_bench_only_blinks(server, browser):
    page = at_the_bench(browser, server, "scan-same")
    scan(page, "scan-same")
    page.wait_for_selector(".spine.again")
    assert page.locator("#scanned[open]").count() == 0
    page.context.close()


def test_an_unknown_code_is_not_in_the_book_and_nothing_is_made(server, browser):
    page = at_the_bench(browser, server, "scan-known")
    scan(page, "9-782-000")
    page.wait_for_selector("#scanned[open]")
    assert "is not in the book" in page.inner_text("#scanned")
    assert page.request.get(f"{server.url}/api/v1/pieces/9-782-000").status == 404
    page.context.close()


def test_a_scan_into_a_field_leaves_it_as_it_was(server, browser):
    page = at_the_bench(browser, server, "scan-field")
    page.locator("[name=operator]").fill("Ines")
    page.locator("[name=operator]").focus()
    scan(page, "L52-9104")
    page.wait_for_selector("#scanned[open]")
    assert page.input_value("[name=operator]") == "Ines"
    page.context.close()


def test_enter_and_space_press_nothing_of_themselves(server, browser):
    page = at_the_bench(browser, server, "enter")
    say_yes(page)
    page.evaluate("document.activeElement.blur()")
    for key in ("Enter", "Space"):
        page.keyboard.down(key)
        time.sleep(1.3)
        page.keyboard.up(key)
    assert page.locator("#panel.prepare").count() == 1
    page.context.close()


@pytest.mark.parametrize("size", SIZES)
def test_a_touch_spins_nothing_it_has_to_be_held(server, browser, size):
    page = at_the_bench(browser, server, f"held-{size}", size)
    say_yes(page)
    page.locator("[data-next]").click()
    page.keyboard.press("PageDown")
    page.wait_for_timeout(1_400)
    assert page.locator("#panel.prepare").count() == 1
    hold(page)
    page.wait_for_selector("#panel.spinning")
    page.wait_for_selector("[data-next]:not(.asleep)")
    page.locator("[data-next]").click()  # stopping is always one press
    page.wait_for_selector("#panel:not(.spinning):not(.reading)", timeout=30_000)
    page.context.close()


def test_what_has_just_come_is_not_pressed_even_before_its_scripts_are_in_place(server, browser):
    page = at_the_bench(browser, server, "lifted")
    say_yes(page)
    page.evaluate(  # as on a busy tablet, where the scripts come late to what has come
        """() => {
            let came;
            htmx.config.defaultSettleDelay = 2500;
            document.body.addEventListener("htmx:afterSwap", () => (came ??= performance.now()));
            addEventListener("click", () => console.log("after", performance.now() - came), true);
        }"""
    )
    stops, said = [], []
    page.on("request", lambda asked: stops.append(asked) if asked.url.endswith("/stop") else None)
    page.on("console", lambda word: said.append(word.text))
    page.locator("[data-next]").hover()
    page.mouse.down()
    stop = page.locator("form[action$='/stop'] button")
    stop.wait_for()
    page.mouse.up()
    stop.click(force=True, no_wait_after=True)
    page.wait_for_timeout(200)
    after_ms = max(float(word.split()[1]) for word in said if word.startswith("after"))
    assert not stops or after_ms > UNDER_FINGER_MS  # a busy machine: then it was meant
    page.context.close()


def test_the_yes_is_asked_anew_before_each_spin(server, browser):
    page = at_the_bench(browser, server, "yes")
    spin(page)
    page.wait_for_selector("[data-next]:not(.asleep)")
    page.locator("[data-next]").click()
    page.wait_for_selector("#panel:not(.spinning):not(.reading)", timeout=30_000)
    press(page, "form[action$='/prepare'] button, form[action$='/as-advised'] .go")
    page.wait_for_selector("#panel.prepare")
    assert page.locator(".yes[aria-pressed=true]").count() == 0
    assert page.locator("[data-next]").count() == 0
    page.context.close()


FAULT = """lines => lines.forEach(([kind, words]) => {
  const p = document.createElement("p");
  p.className = kind;
  p.textContent = words;
  document.querySelector(".bands").append(p);
})"""


@pytest.mark.parametrize("kind", ["fault", "fault warning"])
@pytest.mark.parametrize("size", SIZES)
def test_whatever_went_wrong_before_the_yes_stays_in_view(server, browser, size, kind):
    page = at_the_bench(browser, server, f"{kind}-{size}".replace(" ", "-"), size)
    long = "The device ended the spin before its time; what was sampled was read and kept. "
    page.evaluate(FAULT, [[kind, long * 2], [kind, long]])
    picture(page, f"{kind}-{size}".replace(" ", "-"))
    fields, said = page.locator("#set-up"), page.locator(".checks form button")
    top = fields.bounding_box()["y"]
    for at in range(2):
        box = said.nth(at).bounding_box()
        assert box["height"] >= 48 and box["y"] + box["height"] <= top
    say_yes(page)  # a press on each lands on it
    page.context.close()


def test_oil_that_is_none_is_refused_at_its_field_and_nothing_spins(server, browser):
    page = at_the_bench(browser, server, "hot")
    page.locator("[name=oil_temperature_c]").fill("900")
    page.locator("form:has([value=guard]) button").click()
    page.wait_for_selector("label.wrong")
    assert "can only be" in page.inner_text("[role=alert]")
    assert page.input_value("[name=oil_temperature_c]") == "900"
    page.context.close()


def test_a_cut_written_by_one_press_is_taken_back_by_one_more(server, browser):
    page = at_the_bench(browser, server, "undo")
    spin(page)
    page.wait_for_selector(ENDED, timeout=60_000)
    page.wait_for_selector("#panel.grind [data-next]:not(.asleep)")
    page.keyboard.press("PageDown")
    page.wait_for_selector("#panel.prepare")
    assert page.locator(".story .was").count() >= 1
    press(page, "form[action$='/undo'] button")
    page.wait_for_selector("#panel.grind")
    assert page.locator(".story .was").count() == 0
    page.context.close()


@pytest.mark.slow
def test_a_silent_program_is_said_within_a_second_and_its_figures_struck(tmp_path, browser):
    server = Server(tmp_path / "data", pace=1.0)
    page = at_the_bench(browser, server, "gone")
    spin(page)
    time.sleep(3.0)
    server.kill()
    killed = time.monotonic()
    page.wait_for_selector("#panel.stale")
    assert time.monotonic() - killed < 2.0
    assert "Shut the air by hand" in page.inner_text("#say")
    assert "does not answer" in page.inner_text(".standing.gone")
    struck = page.locator(".speed").evaluate("e => getComputedStyle(e).textDecorationLine")
    assert struck == "line-through"
    assert axe(page) == []
    picture(page, "bench-gone")
    server.start()  # it returns by itself, with what was captured
    page.wait_for_selector("#panel.rescue", timeout=20_000)
    assert page.locator(".standing.gone:not([hidden])").count() == 0
    page.context.close()
    server.stop()


@pytest.mark.slow
@pytest.mark.parametrize("size", SIZES)
def test_far_over_the_limit_turns_the_screen_and_the_pedal_only_quiets_the_horn(
    server, browser, size
):
    page = open_page(browser, size)
    model = f"Rowan {size}"
    text = (
        f'name = "{model}"\nrotation = "clockwise"\nrated_speed_rpm = 175000\ntest_speed_rpm = 150000\n'
        '[[plane]]\nname = "nut"\nradius_mm = 6.0\n[[limit]]\nlimit_g = 0.2\n'
    )
    assert page.request.post(f"{server.url}/models/text", form={"text": text}).ok
    page.close()
    page = at_the_bench(browser, server, f"alarm-{size}", size, model=model)
    spin(page)
    page.wait_for_selector("body.alarm", timeout=30_000)
    assert page.inner_text("#say .line").startswith("Shut the air")
    assert axe(page) == []
    picture(page, f"bench-alarm-{size}")
    page.wait_for_selector("[data-next]:not(.asleep)")
    page.keyboard.press("PageDown")
    page.wait_for_timeout(300)
    # while the rotor still turns the picture stays; on a busy computer the spin may be over by now
    alarm, spinning = page.evaluate(
        "[document.body.matches('.alarm'), !!document.querySelector('#panel.spinning')]"
    )
    assert alarm or not spinning
    page.wait_for_selector("#panel:not(.spinning):not(.reading)", timeout=30_000)
    assert page.locator("body.alarm").count() == 0
    assert page.faults == []
    page.context.close()
