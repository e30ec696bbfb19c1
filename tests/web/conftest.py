"""The program without a browser."""

from __future__ import annotations

import pytest
from web.contract.held import HeldClient

from heavyspot.web.app import create_app


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    app = create_app(tmp_path_factory.mktemp("api") / "data", demo=True, pace=40.0)
    with HeldClient(app, base_url="http://127.0.0.1") as made:
        yield made
