"""A passkey in a real browser, with the device that Chromium plays (its DevTools protocol, domain WebAuthn)."""

import pytest
from web.browser.pages import axe, open_page, small_targets
from web.browser.program import Server

from heavyspot.workshop.people import people_of
from heavyspot.workshop.shop import Workshop

PASSWORD = "warm oil, cold hands"


@pytest.fixture(scope="module")
def guarded(tmp_path_factory):
    """A server with accounts, opened as localhost: the one name without https where browsers make passkeys."""
    yield from with_accounts(tmp_path_factory.mktemp("passkeys") / "data")


def with_accounts(data):
    """Start a server with an owner and a technician; yields its address, and ends it."""
    shop = Workshop(data)
    for name, role in (("Ona", "owner"), ("Tess", "technician")):
        people_of(shop).set_user(name, role, PASSWORD)
    shop.close()
    made = Server(data, more=("--accounts",), demo=False)
    yield f"http://localhost:{made.port}"
    made.stop()


def device(page, **how):
    """Give a page a device of its own."""
    session = page.context.new_cdp_session(page)
    session.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True,
        "isUserVerified": True, "automaticPresenceSimulation": True,
    } | how  # fmt: skip
    made = session.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    return session, made["authenticatorId"]


def logged_in(page, url, name="Tess"):
    page.goto(f"{url}/login")
    page.fill("[name=name]", name)
    page.fill("[name=password]", PASSWORD)
    page.click("form[action='/login'] button")
    page.wait_for_url(f"{url}/")


def faults(page):
    """Faults of the page; its own requests go to localhost, and a refusal is what was asked for."""
    return [f for f in page.faults if "localhost" not in f and "422" not in f]


@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_made_shown_and_ended(browser, guarded, size):
    page = open_page(browser, size)
    session, its = device(page)
    logged_in(page, guarded)
    page.goto(f"{guarded}/switch")
    page.click("main a[href='/passkeys']")
    page.fill("[name=label]", f"the phone {size}")
    page.fill("[name=password]", "not it at all")
    page.click("[data-passkey] button")
    page.wait_for_selector("[data-said]:not([hidden])")
    assert "wrong" in page.inner_text("[data-said]")
    page.fill("[name=password]", PASSWORD)
    page.click("[data-passkey] button")
    row = page.locator("tr", has_text=f"the phone {size}")
    row.wait_for()
    assert axe(page) == []
    assert small_targets(page) == []
    (kept,) = session.send("WebAuthn.getCredentials", {"authenticatorId": its})["credentials"]
    assert kept["rpId"] == "localhost" and kept["isResidentCredential"]
    page.click("header .me button")
    page.wait_for_url(f"{guarded}/login")
    page.wait_for_selector("[data-passkey]:not([hidden])")
    assert axe(page) == []
    page.click("[data-passkey] button")
    page.wait_for_url(f"{guarded}/")
    assert "Tess" in page.inner_text("header")
    page.goto(f"{guarded}/passkeys")
    page.locator("tr", has_text=f"the phone {size}").locator("button").click()
    page.wait_for_url(f"{guarded}/login")  # the login that began by it ended with it
    page.click("[data-passkey] button")
    page.wait_for_selector("main [role=alert]:not([hidden])")
    assert faults(page) == []
    page.context.close()


def test_a_device_that_verifies_nobody_is_refused(browser, guarded):
    page = open_page(browser, "bench")
    session, its = device(page)
    logged_in(page, guarded)
    page.goto(f"{guarded}/passkeys")
    session.send("WebAuthn.setUserVerified", {"authenticatorId": its, "isUserVerified": False})
    page.fill("[name=label]", "somebody's")
    page.fill("[name=password]", PASSWORD)
    page.click("[data-passkey] button")
    page.wait_for_selector("[data-said]:not([hidden])")
    assert "somebody's" not in page.inner_text("table")
    page.context.close()


def test_at_an_address_in_figures_the_page_says_why_not(browser, guarded):
    page = open_page(browser, "bench")
    url = guarded.replace("localhost", "127.0.0.1")
    logged_in(page, url)
    page.goto(f"{url}/passkeys")
    assert "only over https" in page.inner_text("main") and not page.query_selector(
        "[data-passkey]"
    )
    page.context.close()
