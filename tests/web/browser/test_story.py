"""Photos, parts and the camera as a scanner, in a browser."""

import io

import numpy as np
import pytest
import segno
from conftest import there
from web.browser.pages import axe, open_page, picture, small_targets, until
from web.browser.program import CHROMIUM, FLAGS, Server

from heavyspot.workshop.people import People
from heavyspot.workshop.shop import Workshop


@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_a_photo_and_the_parts_of_a_piece(server, browser, tmp_path, size):
    page = open_page(browser, size)
    serial = f"PH-{size}"
    assert page.request.post(
        f"{server.url}/api/v1/pieces", data={"serial": serial, "model": "Larch 52"}
    ).ok
    page.goto(f"{server.url}/story/{serial}")
    photo = tmp_path / "wheel.png"
    page.screenshot(path=photo)
    page.locator("[name=file]").set_input_files(str(photo))
    page.locator("form[action^='/papers'] [name=text]").fill("nick in the inducer")
    page.get_by_role("button", name="Keep it").click()
    page.wait_for_selector(".papers img")
    page.locator("[name=part-0]").fill("turbine shaft")
    page.locator("[name=supplier-0]").fill("Gullwick Castings")
    page.locator("[name=lot-0]").fill("L-4711")
    assert axe(page) == [] and small_targets(page) == []
    page.locator("form[action^='/parts'] button").click()
    page.wait_for_selector("text=lot L-4711")
    until(page, "document.querySelector('.papers img').naturalWidth > 100")
    assert axe(page) == [] and small_targets(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    picture(page, f"story-papers-{size}")
    assert page.faults == []


def film_of(words, path):
    """A film of one picture, a QR code on white, as a camera would give it (YUV4MPEG2)."""
    out = io.BytesIO()
    segno.make(words, error="m", micro=False).save(out, kind="pbm", plain=True, scale=10, border=6)
    lines = [line for line in out.getvalue().decode().split("\n") if line and line[0] in "01"]
    bits = np.array([[int(b) for b in line] for line in lines])
    size = bits.shape[0]
    frame = np.full((480, 640), 235, np.uint8)
    frame[20 : 20 + size, 20 : 20 + size] = np.where(bits == 1, 16, 235)[:460, :620]
    grey = np.full(640 * 480 // 2, 128, np.uint8)
    with path.open("wb") as film:
        film.write(b"YUV4MPEG2 W640 H480 F10:1 Ip A1:1 C420jpeg\n")
        for _ in range(10):
            film.write(b"FRAME\n" + frame.tobytes() + grey.tobytes())


def test_a_label_before_the_camera_opens_its_piece(server, play, tmp_path):
    film_of("L52-SCAN", tmp_path / "film.y4m")
    more = [
        "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-video-capture={tmp_path / 'film.y4m'}",
    ]  # fmt: skip
    browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS + more)
    page = open_page(browser, "tablet")
    made = page.request.post(
        f"{server.url}/api/v1/pieces", data={"serial": "L52-SCAN", "model": "Larch 52"}
    )
    assert made.ok
    page.goto(server.url)
    page.get_by_role("button", name="Camera").click()
    page.wait_for_selector("dialog[open] video")
    picture(page, "scan-tablet")
    page.wait_for_url("**/bench/L52-SCAN", timeout=20_000)
    assert page.faults == []
    browser.close()


def test_a_camera_that_may_not_be_used_says_so(server, browser):
    page = open_page(browser, "bench")
    page.goto(server.url)
    page.get_by_role("button", name="Camera").click()
    page.wait_for_selector("text=The camera cannot be used")
    assert axe(page) == []
    page.get_by_role("button", name="Close").click()
    assert page.locator("dialog[open]").count() == 0


@pytest.fixture(scope="module")
def with_accounts(tmp_path_factory):
    """A server that asks for a login; Ida is its owner, Mette an inspector, both with a pin."""
    data = tmp_path_factory.mktemp("accounts") / "data"
    shop = Workshop(data)
    people = People(shop.book.accounts)
    for name, role, pin in (("Ida", "owner", "4719"), ("Mette", "inspector", "8264")):
        people.set_user(name, role, "a long password")
        people.set_pin(there(people.who(people.log_in(name, "a long password"))), pin)
    shop.close()
    made = Server(data, more=("--accounts",))
    yield made
    made.stop()


@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_somebody_else_takes_over_by_a_pin(with_accounts, browser, size):
    page = open_page(browser, size)
    page.goto(with_accounts.url + "/login")
    page.locator("[name=name]").fill("Ida")
    page.locator("[name=password]").fill("a long password")
    page.get_by_role("button", name="Log in", exact=True).click()
    page.get_by_role("link", name="Somebody else").click()
    page.get_by_text("Mette", exact=True).click()
    assert axe(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    picture(page, f"switch-{size}")
    page.locator(".pin").fill("8264")
    page.get_by_role("button", name="Take over").click()
    page.wait_for_selector("text=Mette: log out")
    assert page.faults == []
