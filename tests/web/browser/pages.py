"""A page as these tests look at it: its faults, its accessibility, its picture."""

import time
from pathlib import Path

from web.browser.drift import Keeping, look_at

AXE = Path(__file__).parents[2] / "vendor/axe.min.js"
HELD_S = 1.2
SIZES = {"bench": (1280, 800), "tablet": (820, 1180)}


BUSY = """document.addEventListener("readystatechange", () => {
  if (document.readyState === "interactive") document.body.dataset.scanGapMs = "250";
});"""
"""On a busy machine the keys of these tests come slower than a scanner's."""


def open_page(browser, size, **kw):
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height}, **kw)
    page = context.new_page()
    page.add_init_script(BUSY)
    page.faults = []
    page.on("pageerror", lambda e: page.faults.append(str(e)))
    page.on("console", lambda m: page.faults.append(m.text) if m.type == "error" else None)
    page.on(
        "request",
        lambda r: (
            None if "127.0.0.1" in r.url or r.url.startswith("data:") else page.faults.append(r.url)
        ),
    )
    return page


def until(page, true, *given, most_s=60.0):
    """Wait until something is true on the page, asked from outside: its policy forbids a waiting script of ours."""
    end = time.monotonic() + most_s
    while not page.evaluate(true, *given):
        assert time.monotonic() < end, true
        page.wait_for_timeout(20)


def axe(page):
    """Run axe-core; return serious and critical violations."""
    page.evaluate(AXE.read_text())  # not a script tag: the page's policy forbids those, rightly
    found = page.evaluate(
        "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa']})"
    )
    return [
        (v["id"], v["nodes"][0]["html"][:120])
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    ]


def small_targets(page):
    """Return visible controls lower or narrower than 48 px; a label takes the touch for its field."""
    return page.evaluate(
        """[...document.querySelectorAll('main button, main a, main input, main select, main summary')]
           .filter(e => e.offsetParent && !e.closest('details:not([open])'))
           .map(e => [e.outerHTML.slice(0, 80), (e.closest('label') ?? e).getBoundingClientRect()])
           .filter(([, r]) => r.height < 48 || r.width < 48).map(([h]) => h)"""
    )


def say_yes(page):
    """Say that the guard is shut and the oil on."""
    for what in ("guard", "oil"):
        row = page.locator(f"form:has([name=what][value={what}])")
        row.locator("button").click()
        row.locator("button[aria-pressed=true]").wait_for()
    page.wait_for_selector("[data-next][data-hold]:not(.asleep)")


def hold(page, by="mouse"):
    """Hold what the pedal does for a good second: by mouse, finger or pedal."""
    button = page.locator("[data-next]:not(.asleep)")
    button.wait_for()
    if by == "keyboard":
        page.keyboard.down("PageDown")
        time.sleep(HELD_S)
        page.keyboard.up("PageDown")
    elif by == "touch":
        box = button.bounding_box()
        at = [{"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}]
        screen = page.context.new_cdp_session(page)
        screen.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": at})
        time.sleep(HELD_S)
        screen.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    else:
        button.hover()
        page.mouse.down()
        time.sleep(HELD_S)
        page.mouse.up()


UNDER_FINGER_MS = 450
"""What has just come is not pressed by the touch that brought it: a person is no faster."""


def press(page, selector):
    """Press a button of the action bar once it can be meant."""
    page.locator(selector).first.wait_for()
    page.wait_for_timeout(UNDER_FINGER_MS)
    page.locator(selector).first.click()


def spin(page, by="mouse"):
    """Say yes twice, hold, and see it spin."""
    page.wait_for_selector("#panel.prepare")
    say_yes(page)
    hold(page, by)
    page.wait_for_selector("#panel.spinning")


def scan(page, text):
    """Type as a scanner does: fast, and Enter."""
    for key in [*text, "Enter"]:
        page.keyboard.press(key)


PICTURES = Path(__file__).parents[3] / "pictures"


def picture(page, name):
    """Keep a screenshot as an artefact of the tests, and see how far it has drifted; docs/pictures are of them."""
    PICTURES.mkdir(exist_ok=True)
    shot = page.screenshot(path=str(PICTURES / f"{name}.png"))
    look_at(name, shot, keep=Keeping.pictures)
