"""Web hooks in a real browser: added, its secret once, a test that arrives, a refused address; owners alone."""

import pytest
from web.browser.pages import axe, open_page, small_targets
from web.browser.people.test_passkeys import logged_in, with_accounts
from workshop.hooks.receiver import receiver, until


@pytest.fixture(scope="module")
def guarded(tmp_path_factory):
    """A server with accounts."""
    yield from with_accounts(tmp_path_factory.mktemp("hooks") / "data")


def told_by(page):
    """Return what the newest delivery's row says, after a look at the page anew."""
    page.goto(page.url)
    return " ".join(page.locator("main tbody tr").first.inner_text().split())


@pytest.mark.parametrize("size", ["bench", "tablet"])
def test_added_tried_and_ended(browser, guarded, size):
    page = open_page(browser, size)
    logged_in(page, guarded, "Ona")
    page.goto(f"{guarded}/users")
    page.click("main a[href='/hooks']")
    assert "No hooks." in page.inner_text("main")
    page.fill("[name=url]", "http://example.org/heavyspot")
    page.click("form[action='/hooks'] button")
    assert page.locator(".fault").count() == 1 and page.input_value("[name=url]").endswith("spot")
    with receiver() as told:
        page.fill("[name=url]", told.url)
        page.uncheck("[value=finding]")
        page.click("form[action='/hooks'] button")
        secret = page.inner_text("main code")
        assert secret.startswith("whsec_") and "Findings ·" not in page.inner_text("main h2 + p")
        page.goto(f"{guarded}/hooks")
        assert secret not in page.content() and "Nothing was told yet." in page.inner_text("main")
        page.click("form[action='/hooks/test'] button")
        until(lambda: len(told.came) == 1, 60)
        until(lambda: "delivered" in told_by(page), 60)
        page.click("form[action='/hooks/again'] button")
        until(lambda: len(told.came) == 2, 60)
        assert told.ids()[0] == told.ids()[1]
        until(lambda: "delivered" in told_by(page), 60)
        assert not axe(page) and not small_targets(page)
        page.click("form[action='/hooks/secret'] button")
        assert page.inner_text("main code") != secret
        page.goto(f"{guarded}/hooks")
        page.click("form[action='/hooks/end'] button")
    assert "No hooks." in page.inner_text("main")


def test_a_technician_has_no_hooks(browser, guarded):
    page = open_page(browser, "bench")
    logged_in(page, guarded)
    answer = page.goto(f"{guarded}/hooks")
    assert answer.status == 403 and page.locator("[name=url]").count() == 0
