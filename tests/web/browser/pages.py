"""A page as these tests look at it: its faults, its accessibility, its picture."""

from pathlib import Path

AXE = Path(__file__).parents[2] / "vendor/axe.min.js"
SIZES = {"bench": (1280, 800), "tablet": (820, 1180)}


def open_page(browser, size, **kw):
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height}, **kw)
    page = context.new_page()
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
    """Return visible controls lower or narrower than 48 px."""
    return page.evaluate(
        """[...document.querySelectorAll('main button, main a, main input, main select, main summary')]
           .filter(e => e.offsetParent && !e.closest('details:not([open])'))
           .map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
           .filter(([, r]) => r.height < 48 || r.width < 48).map(([h]) => h)"""
    )


PICTURES = Path(__file__).parents[3] / "pictures"


def picture(page, name):
    """Keep a screenshot as an artefact of the tests; docs/pictures are chosen from them."""
    PICTURES.mkdir(exist_ok=True)
    page.screenshot(path=str(PICTURES / f"{name}.png"))
