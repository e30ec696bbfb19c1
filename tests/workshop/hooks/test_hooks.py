"""Verdicts and findings told to other programs: signed, whole, once, whatever the receiver and the power do."""

import base64
import hashlib
import hmac
import json
import time

import pytest
from workshop.hooks.receiver import receiver
from workshop.hooks.telling import QUICK, later, rounds, spin

import heavyspot
from heavyspot.ledger.store.entries import now_utc
from heavyspot.workshop.hooks import (
    again,
    deliveries_of,
    end_hook,
    renew_secret,
    sending,
)
from heavyspot.workshop.hooks.registry import add_hook, pause_words
from heavyspot.workshop.hooks.running import PAUSES_S, Telling


def test_a_verdict_is_told_signed_and_without_the_customers_name(shop, told, spins):
    hook = add_hook(shop, told.url, by="Ona")
    result = spin(shop, spins[0])
    rounds(shop)
    (head, body), *rest = told.came
    assert told.bodies()[0]["type"] == "practice.cartridge.verdict"  # simulated: its type says so
    said = json.loads(body)["data"]
    assert (said["serial"], said["run"], said["verdict"]) == ("H-1", result.run, result.verdict)
    assert said["simulated"] is True and b"Fjord" not in body
    # Standard Webhooks: HMAC-SHA256 over "id.timestamp.body" with the base64 secret behind "whsec_"
    key = base64.b64decode(hook.secret.removeprefix("whsec_"))
    signed = f"{head['webhook-id']}.{head['webhook-timestamp']}.".encode() + body
    expected = base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
    assert head["webhook-signature"] == f"v1,{expected}"
    assert abs(int(head["webhook-timestamp"]) - time.time()) < 60 and 24 <= len(key) <= 64
    assert {d.state for d in deliveries_of(shop, hook.id)} == {"delivered"}
    assert all(json.loads(b)["type"].endswith("finding") for _, b in rest)


def test_the_signature_is_that_of_the_specifications_own_example():
    """Standard Webhooks, the example of its reference libraries (from memory)."""
    secret, id_ = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek"
    made = sending.signature(secret, id_, 1614265330, b'{"test": 2432232314}')
    assert made == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_only_what_is_asked_for_and_only_from_now_on(shop, told, spins):
    spin(shop, spins[0])
    hook = add_hook(shop, told.url, ["verdict"])
    rounds(shop)
    assert told.came == []
    spin(shop, spins[1])
    rounds(shop, 3)
    assert [b["type"] for b in told.bodies()] == ["practice.cartridge.verdict"]
    end_hook(shop, hook.id)
    heavyspot.add_piece(shop, "H-2", "Larch 52")
    spin(shop, spins[0], "H-2")
    rounds(shop)
    assert len(told.came) == 1 and not (shop.folder / "hooks" / hook.id).exists()


def test_rotors_flow_and_overrulings_are_told_too(shop, told):
    heavyspot.add_rotor_model(shop, "docs/examples/larch52-wheel.toml")
    heavyspot.add_rotor(shop, "R-1", "Larch 52 shaft and wheel")
    add_hook(shop, told.url)
    heavyspot.measure_typed(shop, "R-1", [21000, 9000], [77, 200], by="Ines")
    lost = heavyspot.simulate(faults=["loose_sensor"], **QUICK)
    result = spin(shop, lost)
    if result.verdict == "undecided" and result.judgement:
        heavyspot.overrule(shop, "H-1", why="looked at it", by="Ivo")
    rounds(shop)
    kinds = [b["type"].removeprefix("practice.") for b in told.bodies()]
    assert kinds[0] == "rotor.verdict" and told.bodies()[0]["data"]["verdict"] == "fail"
    assert "cartridge.verdict" in kinds and "cartridge.finding" in kinds
    found = next(b for b in told.bodies() if b["type"].endswith("finding"))["data"]["findings"]
    assert all(f["severity"] in ("warn", "block") and f["do"] for f in found)


def test_a_receiver_that_fails_is_tried_again_under_the_same_id(shop, told, spins):
    hook = add_hook(shop, told.url, ["verdict"])
    spin(shop, spins[0])
    told.answers = [500, 503, "cut", 204]
    rounds(shop, 6)
    assert len(told.came) == 4 and len(set(told.ids())) == 1
    assert len({body for _, body in told.came}) == 1
    (delivery,) = deliveries_of(shop, hook.id)
    assert (delivery.state, delivery.tries, delivery.answer[:3]) == ("delivered", 4, "204")


def test_between_tries_it_waits_longer_and_longer_and_then_gives_up(shop, told, spins, monkeypatch):
    hook = add_hook(shop, told.url, ["verdict"])
    spin(shop, spins[0])
    told.answers = [500] * 99
    clock = [0.0]
    monkeypatch.setattr(
        "heavyspot.workshop.hooks.waiting.now_utc", lambda: later(now_utc(), clock[0])
    )
    monkeypatch.setattr(
        "heavyspot.workshop.hooks.running.now_utc", lambda: later(now_utc(), clock[0])
    )
    telling = Telling(shop)
    telling.round()
    telling.round()
    assert len(told.came) == 1  # not at once again
    for pause in PAUSES_S:
        clock[0] += pause - 4
        telling.round()
        seen = len(told.came)
        clock[0] += 8
        telling.round()
        assert len(told.came) == seen + 1
    (delivery,) = deliveries_of(shop, hook.id)
    assert delivery.state == "given up" and delivery.tries == len(PAUSES_S) + 1
    told.answers = []
    again(shop, hook.id, delivery.id)
    telling.round()
    assert deliveries_of(shop, hook.id)[0].state == "delivered" and len(set(told.ids())) == 1


def test_a_redirect_is_not_followed(shop, told, spins):
    with receiver() as elsewhere:
        hook = add_hook(shop, told.url, ["verdict"])
        told.answers, told.headers = [307], {"Location": elsewhere.url}
        spin(shop, spins[0])
        rounds(shop)
        assert elsewhere.came == []
    (delivery,) = deliveries_of(shop, hook.id)
    assert delivery.state == "waits" and "no redirect" in delivery.answer


@pytest.mark.parametrize("how", ["hang", "drip"])
def test_one_that_hangs_is_let_go_and_holds_no_other_up_for_long(
    shop, told, spins, how, monkeypatch
):
    monkeypatch.setattr(sending, "PATIENCE_S", 0.6)
    with receiver() as other:
        slow, quick = add_hook(shop, told.url, ["verdict"]), add_hook(shop, other.url, ["verdict"])
        told.answers = [how]
        spin(shop, spins[0])
        began = time.monotonic()
        rounds(shop)
        assert time.monotonic() - began < 5
        assert deliveries_of(shop, quick.id)[0].state == "delivered"
    (delivery,) = deliveries_of(shop, slow.id)
    assert (
        delivery.state == "waits" and "within 0.6 s" in delivery.answer
    ) or "timed out" in delivery.answer


def test_one_that_is_gone_is_told_nothing_more_until_a_person_says_so(shop, told, spins):
    hook = add_hook(shop, told.url, ["verdict"])
    told.answers = [410]
    spin(shop, spins[0])
    rounds(shop)
    heavyspot.add_piece(shop, "H-2", "Larch 52")
    spin(shop, spins[1], "H-2")
    rounds(shop, 2)
    assert len(told.came) == 1 and "gone" in pause_words(shop, hook)
    anew = renew_secret(shop, hook.id)
    assert anew.secret != hook.secret and pause_words(shop, anew) == ""
    rounds(shop)
    assert len(told.came) == 2  # what waited meanwhile is told


def test_it_waits_as_long_as_the_receiver_asks(shop, told, spins):
    hook = add_hook(shop, told.url, ["verdict"])
    told.answers, told.headers = [429], {"Retry-After": "3600"}
    spin(shop, spins[0])
    rounds(shop, 3)
    (delivery,) = deliveries_of(shop, hook.id)
    assert len(told.came) == 1 and delivery.next_at > later(delivery.at, 3000)


def test_while_nobody_listens_everything_waits_and_then_all_comes_in_order(shop, spins):
    with receiver() as first:
        port, url = first.port, first.url
        hook = add_hook(shop, url, ["verdict"])
    for n in range(2, 5):
        heavyspot.add_piece(shop, f"H-{n}", "Larch 52")
        spin(shop, spins[n % 2], f"H-{n}")
        rounds(shop)
    assert {d.state for d in deliveries_of(shop, hook.id)} == {"waits"}
    with receiver(port) as back:
        rounds(shop)
        assert [b["data"]["serial"] for b in back.bodies()] == ["H-2", "H-3", "H-4"]
