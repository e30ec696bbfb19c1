"""Every call of the API with made-up bodies, paths and queries: refused or answered, never a fault of ours."""

import pytest
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.web.app import create_app
from heavyspot.web.roles import ACCESS
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.rotor.models import add_rotor

STARTS_A_SPIN = ("/spin", "/listen")
"""Calls that wait for a rig: tested where a rig is at hand."""


CHECKS = [content_type_conformance, response_schema_conformance, status_code_conformance]
"""What the schema promises of every answer; statuses of refusals it leaves open (`default`)."""

HERE = {"Host": "localhost"}

THERE = {"serial": "S-1", "number": 1, "name": "simulated rig"}
"""Made-up names find nothing: the bodies and queries are what is tried on things that are there."""


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    made = create_app(tmp_path_factory.mktemp("schema") / "data", demo=True, pace=200.0)
    shop = made.state.shop
    add_piece(shop, "S-1", "Larch 52", customer="Tidal Works")
    quick = SpinSettings(run_up_s=3.0, coast_s=1.0, sample_rate_hz=25_600.0)
    spin(shop, "S-1", simulated_recording(make_cartridge("Larch 52", 1), 1, quick))
    add_rotor(shop, "R-1", "Blower 900")
    with TestClient(made, base_url="http://localhost"):
        yield made


def calls():
    keys = [k for k in ACCESS if k.split()[1].startswith("/api/v1/") and "openapi" not in k]
    return [k for k in keys if not k.endswith(STARTS_A_SPIN)]


@pytest.mark.parametrize("key", calls())
def test_no_call_breaks_it(app, key):
    method, path = key.split()
    shown = path.replace(":path}", "}")
    operation = schemathesis.openapi.from_asgi("/api/v1/openapi.json", app, headers=HERE)[shown][
        method
    ]
    seen = []

    @settings(
        max_examples=25, deadline=None, database=None, phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=operation.as_strategy())
    def call(case):
        for name, value in THERE.items():
            if name in (case.path_parameters or {}):
                case.path_parameters[name] = (
                    "R-1" if "/rotors/" in path and name == "serial" else value
                )
        answer = case.call(headers=HERE)
        seen.append(answer.status_code)
        assert answer.status_code < 500, (key, case.body, case.path_parameters, case.query)
        case.validate_response(answer, checks=CHECKS)

    call()
    assert seen
