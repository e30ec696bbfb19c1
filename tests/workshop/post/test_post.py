"""Sheets by mail, against aiosmtpd, a mail server that is none of ours."""

import email
import email.policy
import json
import socket
from dataclasses import replace

import pytest
from aiosmtpd.controller import Controller
from workshop.cartridge.test_spin import QUICK

from heavyspot.quantities.errors import BadInput, NotThere, UnreadableFile
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.model import add_model
from heavyspot.workshop.post import again, give_up, mail_sheet, send_waiting, waiting_letters
from heavyspot.workshop.post import letters as letters_module
from heavyspot.workshop.post import sending as sending_module
from heavyspot.workshop.sheets.issue import issue_sheet
from heavyspot.workshop.sheets.issued import issued_sheet, pdf_of
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.shop_file import load_shop_file

MODEL = {
    "name": "Larch 52", "rotation": "clockwise", "rated_speed_rpm": 180_000, "test_speed_rpm": 150_000,
    "compressor_wheel_mm": 52.0,
    "plane": [{"name": "nut", "radius_mm": 6.0, "cutter": "flat", "width_mm": 6.0, "max_depth_mm": 0.9}],
}  # fmt: skip


class Box:
    """What the server was given; `refuse` is said to who is addressed, as many times as there are answers."""

    def __init__(self, port):
        self.port = port
        self.got, self.refuse, self.tried = [], [], 0

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802  # the server's own name
        self.tried += 1
        if self.refuse:
            return self.refuse.pop(0)
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802  # the server's own name
        self.got.append((envelope.mail_from, envelope.rcpt_tos, envelope.content))
        return "250 queued as 4711"


@pytest.fixture
def box():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        made = Box(free.getsockname()[1])
    server = Controller(made, hostname="127.0.0.1", port=made.port, ready_timeout=60)
    server.start()
    yield made
    server.stop()


@pytest.fixture
def shop(tmp_path, box):
    data = tmp_path / "data"
    data.mkdir()
    write_settings(data, box.port)
    made = Workshop(data)
    add_model(made, MODEL, by="Ines")
    add_piece(made, "P-1", "Larch 52", customer="Fjord Haulage")
    spun = simulated_recording(make_cartridge("Larch 52", 3, peak_g=0.2), 5, QUICK)
    spin(made, "P-1", replace(spun, rig="High 1"), operator="Ines")
    yield made
    made.close()


def write_settings(data, port, more=""):
    (data / "shop.toml").write_text(
        f'name = "Saltmarsh"\nmail_host = "127.0.0.1"\nmail_port = {port}\nmail_security = "none"\n'
        f'mail_from = "office@saltmarsh.example"\n{more}'
    )


def later(monkeypatch, shop):
    """Let the time of every letter have come."""
    for x in waiting_letters(shop):
        if x.next_at:
            letters_module.keep(shop, replace(x, next_at="2000-01-01T00:00:00.000Z"))


def test_a_sheet_arrives_byte_for_byte_and_the_story_has_the_proof(shop, box):
    number = issue_sheet(shop, "P-1", by="Ines").number
    letter = mail_sheet(shop, number, " kontor@fjord.example ", by="Ines")
    assert (
        json.loads((shop.folder / f"post/{letter.id}.json").read_text())["to"]
        == "kontor@fjord.example"
    )
    assert send_waiting(shop) == []
    ((sender, to, content),) = box.got
    assert (sender, to) == ("office@saltmarsh.example", ["kontor@fjord.example"])
    message = email.message_from_bytes(content, policy=email.policy.default)
    (paper,) = message.iter_attachments()
    assert paper.get_content() == pdf_of(shop, issued_sheet(shop, number))
    assert paper.get_filename() == f"sheet-{number}.pdf" and number in message["Subject"]
    event = whole_story(shop, "P-1")[-1]
    assert (event.kind, event.by) == ("mailed", "Ines")
    assert "kontor@fjord.example" in event.text and "4711" in event.text  # the server's own words
    assert send_waiting(shop) == [] and len(box.got) == 1


def test_what_is_refused_for_now_is_tried_again_later_and_later(shop, box, monkeypatch):
    box.refuse = ["451 try later"] * 3
    number = issue_sheet(shop, "P-1").number
    mail_sheet(shop, number, "kontor@fjord.example")
    waits = []
    for _ in range(3):
        (letter,) = send_waiting(shop)
        waits.append(letter)
        assert send_waiting(shop) == [letter]  # its time has not come
        later(monkeypatch, shop)
    assert [x.tries for x in waits] == [1, 2, 3] and "451 try later" in waits[-1].fault
    assert not waits[-1].given_up and box.got == []
    assert send_waiting(shop) == [] and len(box.got) == 1


def test_what_is_refused_for_good_waits_for_a_person(shop, box):
    box.refuse = ["550 no such mailbox"]
    mail_sheet(shop, issue_sheet(shop, "P-1").number, "nobody@fjord.example")
    (letter,) = send_waiting(shop)
    assert letter.given_up and "550 no such mailbox" in letter.fault
    assert send_waiting(shop) == [letter] and box.tried == 1
    again(shop, letter.id)
    assert send_waiting(shop) == [] and len(box.got) == 1
    with pytest.raises(NotThere):
        give_up(shop, letter.id)


def test_a_server_that_is_away_holds_no_letter_up_for_good(shop, box):
    write_settings(shop.folder, 1)
    number = issue_sheet(shop, "P-1").number
    mail_sheet(shop, number, "kontor@fjord.example")
    (letter,) = send_waiting(shop)
    assert letter.fault and not letter.given_up
    give_up(shop, letter.id)
    assert waiting_letters(shop) == []


def test_a_cut_after_the_server_s_yes_sends_nothing_twice(shop, box, monkeypatch):
    mail_sheet(shop, issue_sheet(shop, "P-1").number, "kontor@fjord.example")
    with monkeypatch.context() as m:
        m.setattr(sending_module, "drop", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            send_waiting(shop)
    assert len(waiting_letters(shop)) == 1  # the file is still there, the proof too
    assert send_waiting(shop) == [] and len(box.got) == 1


def test_a_cut_before_the_proof_sends_the_same_message_again(shop, box, monkeypatch):
    mail_sheet(shop, issue_sheet(shop, "P-1").number, "kontor@fjord.example")
    with monkeypatch.context() as m:
        m.setattr(sending_module, "_prove", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            send_waiting(shop)
    assert send_waiting(shop) == [] and len(box.got) == 2
    names = {email.message_from_bytes(content)["Message-ID"] for _, _, content in box.got}
    assert len(names) == 1  # who gets it twice sees one (RFC 5322, 3.6.4)


@pytest.mark.parametrize(
    "to",
    [
        "", "nobody", "a@b", "a@b.example, c@d.example", "a@b.example\r\nBcc: all@d.example", "a b@c.example",
        "<a@b.example>", "a..b@c.example", "ä@b.example", "a@-.example\n", "x" * 250 + "@b.example",
    ],
)  # fmt: skip
def test_what_is_no_address_goes_nowhere(shop, to):
    number = issue_sheet(shop, "P-1").number
    with pytest.raises(BadInput, match="no address"):
        mail_sheet(shop, number, to)
    assert waiting_letters(shop) == []


def test_a_practice_shop_and_one_without_a_server_send_nothing(shop, monkeypatch):
    number = issue_sheet(shop, "P-1").number
    (shop.folder / "shop.toml").write_text('name = "Saltmarsh"\n')
    with pytest.raises(BadInput, match="No mail server"):
        mail_sheet(shop, number, "kontor@fjord.example")
    monkeypatch.setattr(letters_module, "is_practice", lambda _: True)
    with pytest.raises(BadInput, match="practice"):
        mail_sheet(shop, number, "kontor@fjord.example")


@pytest.mark.parametrize(
    "more",
    [
        'mail_host = "mx.example"',
        'mail_host = "mx.example"\nmail_from = "a@b.example"\nmail_user = "x"\nmail_security = "none"',
        'mail_password_file = "../key"',
    ],
)
def test_a_shop_file_that_would_send_wrongly_is_refused(tmp_path, more):
    (tmp_path / "shop.toml").write_text(more + "\n")
    with pytest.raises(UnreadableFile, match="mail"):
        load_shop_file(tmp_path)
