"""A server and a browser, one of each for all tests of a process."""

from __future__ import annotations

from pathlib import Path

import pytest
from conftest import needs
from web.browser.drift import Keeping
from web.browser.program import CHROMIUM, FLAGS, Server


@pytest.fixture(scope="session", autouse=True)
def keeping(request):
    Keeping.pictures = request.config.getoption("keep_pictures")


@pytest.fixture(scope="session")
def server(tmp_path_factory):
    made = Server(tmp_path_factory.mktemp("web") / "data")
    yield made
    made.stop()


@pytest.fixture(scope="session")
def play():
    needs(Path(CHROMIUM).exists(), "chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as made:  # one a process: a second would meet the first's event loop
        yield made


@pytest.fixture(scope="session")
def browser(play):
    made = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
    yield made
    made.close()
