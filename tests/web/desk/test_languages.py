"""Pages in a language whose every letter is a q: any other word on them is the shop's own, or fell through."""

import re
from html import unescape

import pytest
from fastapi.testclient import TestClient
from q_language import speak_q
from workshop.cartridge.test_spin import QUICK

from heavyspot.quantities import said
from heavyspot.quantities.said import LANGUAGES
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import RIG, simulated_recording
from heavyspot.web import speaking
from heavyspot.web.app import create_app
from heavyspot.web.pages import connect
from heavyspot.web.pages.help import ABOUT, guide_html, titles
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.job.build_record import tell

OWN = {
    "Heavyspot", "Saltmarsh", "Turbo", "Works", "Larch", "Ines", "Fjord", "Haulage", "simulated", "Simulated",
    "rig", "master", "MASTER", "whistle", "Low", "High", "Grind", "nut", "Enter", "turbine", "hub", "CSV", "QR",
    "very", "good", "kPa", "Alder", "Oak", "Elm", "Esc", "rpm", "Balancer",
    "housing", "pickup", "none", "such", "SIM", "north", "XLSX", "Parquet", "SVG", "UFF",
    "Bearing", "bearing", "shoulder", "NOBODY", "Nobody",
}  # fmt: skip
"""Names of the shop, its rigs, models and planes, and what people wrote."""


@pytest.fixture(scope="module")
def shop_app(tmp_path_factory):
    app = create_app(tmp_path_factory.mktemp("tongues") / "data", demo=True)
    with TestClient(app, base_url="http://127.0.0.1") as client:
        piece = {"model": "Larch 52", "customer": "Fjord Haulage"}
        for serial, peak in (("T-1", 1.4), ("T-2", 0.2), ("T-3", 0.3)):
            client.post("/api/v1/pieces", json={"serial": serial, **piece})
            if serial != "T-3":
                made = simulated_recording(make_cartridge("Larch 52", 3, peak_g=peak), 5, QUICK)
                spin(app.state.shop, serial, made, operator="Ines", rig=RIG)
        client.post("/rotors", data={"serial": "T-R", "rotor": "Larch 52 shaft and wheel"})
        tell(app.state.shop, "T-3", "claim", "whistle", by="Ines")
        yield client


@pytest.fixture
def q_s(monkeypatch):
    speak_q(monkeypatch)
    for module in (speaking,):
        monkeypatch.setitem(module.LANGUAGES, "qq", "q")
    said._parts.cache_clear()
    yield
    said._parts.cache_clear()


MONTHS = (
    r"\b(Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)[a-z]*\b|\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun)\b"
)
"""Of the locale data, not of a catalogue; an unknown language has the English ones."""


def fell_through(html):
    program = r"<(script|style|code|textarea)\b.*?</\1>"  # code: commands, keys and digests are one language's
    body = re.sub(rf"{program}|<option.*?</option>", " ", html, flags=re.S)
    shown = re.findall(r'(?:aria-label|placeholder|title|alt)="([^"]*)"', body)
    shown.append(re.sub(r"<[^>]*>", " ", body))
    for own in (
        "simulated low-speed machine", "Larch 52 shaft and wheel", "Blower 900", "g/cm³",
        "customer:tidal from:2026-01-01",
    ):  # fmt: skip
        shown = [s.replace(own, " ") for s in shown]
    text = re.sub(MONTHS, " ", re.sub(r"&\w+;|&#\d+;", " ", " ".join(shown)))
    return {w for w in re.findall(r"[^\W\d_]{3,}", text) if set(w.lower()) != {"q"}} - OWN


PLACES = (
    "/", "/bench/T-1", "/bench/T-2", "/bench/T-3", "/nothing-here", "/jobs", "/jobs/new", "/jobs/JOB", "/book",
    "/pieces/T-1", "/pieces?serial=T-9", "/find?q=T", "/find?q=none-such", "/story/T-1", "/story/T-2", "/story/T-3",
    "/look/1/T-1", "/recordings/T-1", "/rigs", "/rigs/edit", "/rigs/edit?name=simulated%20rig",
    "/rig-health/simulated%20rig", "/rig-angles/simulated%20rig", "/rig-angles/simulated%20rig?way=cuts",
    "/rotors", "/rotor/T-R", "/flow/T-2",
    "/insight", "/gains", "/insight/limits", "/insight/claims", "/insight/suppliers",
    "/insight?by=model", "/insight?by=month", "/switch",
    "/connect", "/connect?source=sound", "/connect?source=simulated",
    "/users", "/keys", "/passkeys", "/audit", "/audit?by=Ines", "/login", "/insight/ask", "/ledger", "/models",
    "/models/edit", "/models/edit?name=Larch%2052", "/verify/2026-00001", "/buildings", "/rereads", "/old-book",
    "/machines/simulated%20low-speed%20machine",
)  # fmt: skip


@pytest.mark.parametrize("place", PLACES)
def test_nothing_of_the_main_pages_falls_through(shop_app, q_s, place, monkeypatch):
    monkeypatch.setattr(connect, "inputs", lambda: ([], ""))  # whatever this computer has to say
    job = shop_app.app.state.shop.book.jobs.piece("T-1").job_id
    page = shop_app.get(place.replace("JOB", job), headers={"cookie": f"{speaking.CHOICE}=qq"})
    assert len(re.findall(r"q{3,}", page.text)) > 8
    assert fell_through(page.text) - KEPT_IN_ENGLISH.get(place.split("?")[0], set()) == set()


KEPT_IN_ENGLISH = {"/audit": {"claim", "asked"}}
"""Words of the ledger's own entries that a page shows as they were kept."""

REFUSED: tuple[tuple[str, dict[str, str]], ...] = (
    ("/users", {"name": "Ines", "role": "owner", "password": "short"}), ("/users/end", {"name": "Nobody"}),
    ("/keys", {"label": "", "scope": "read", "days": "90"}), ("/keys", {"label": "x", "days": "~"}),
    ("/keys/end", {"id_": "9"}), ("/login", {"name": "Ines", "password": "~"}), ("/pin", {"pin": "1"}),
    ("/jobs", {"serials": "", "model": "Larch 52"}),
    ("/pieces/T-1", {"new_serial": "T-1", "model": "Larch 52", "why": ""}),
    ("/bench/T-3/spin", {}), ("/bench/T-3/as-advised", {}), ("/bench/T-3/undo", {}), ("/bench/T-3/overrule", {}),
    ("/bench/T-3/looked", {}), ("/bench/T-3/sign", {}), ("/bench/T-3/knowingly", {}),
    ("/bench/NOBODY/spin", {}), ("/bench/T-3/sheet", {}),
    ("/cuts/9/T-1", {"plane": "nut", "angle_deg": "10", "depth_mm": "0.1", "why": "x"}),
    ("/story/T-1", {"kind": "note", "text": ""}), ("/story/NOBODY", {"kind": "note", "text": "x"}),
    ("/recordings/T-1", {}), ("/papers/T-1", {}), ("/parts/T-1", {}), ("/old-book", {}),
    ("/ledger/sheets", {"find": "none-such"}), ("/rig-health/simulated%20rig/shaker", {"reads": "~"}),
    ("/models/card", {"name": "Larch 52"}), ("/flow/T-2/sheet", {}), ("/progress/none-such/stop", {}),
)  # fmt: skip


@pytest.mark.parametrize(("place", "typed"), REFUSED)
def test_nothing_of_a_refusal_falls_through(shop_app, q_s, place, typed):
    cookie = {"cookie": f"{speaking.CHOICE}=qq"}
    answer = shop_app.post(place, data=typed, headers=cookie, follow_redirects=False)
    assert 400 <= answer.status_code < 500
    assert re.search("✗ [^<]*q", re.sub(r"\s+", " ", answer.text))
    assert fell_through(answer.text) == set()


@pytest.mark.parametrize("language", list(LANGUAGES))
def test_the_day_is_told_in_the_browser_s_language(shop_app, language):
    page = shop_app.get("/", headers={"accept-language": f"xx, {language}-XX;q=0.9"})
    assert f'<html lang="{language}">' in page.text
    shown = unescape(page.text)
    assert said.catalogue(language)["nav.jobs"] in shown
    assert said.catalogue(language)["day.needs"] in shown


def test_what_somebody_chose_goes_before_the_browser(shop_app):
    chosen = shop_app.post("/language", data={"language": "de"}, follow_redirects=False)
    assert chosen.cookies.get(speaking.CHOICE) == "de" or "heavyspot-language=de" in str(
        chosen.headers
    )
    shop_app.cookies.clear()
    headers = {"cookie": f"{speaking.CHOICE}=de", "accept-language": "fr"}
    assert "Aufträge" in shop_app.get("/", headers=headers).text
    none = shop_app.post("/language", data={"language": "tlh"}, follow_redirects=False)
    assert "set-cookie" not in none.headers


def test_two_at_once_are_each_told_in_their_own(shop_app):
    from concurrent.futures import ThreadPoolExecutor

    def ask(language):
        return shop_app.get("/", headers={"accept-language": language}).text

    asked = ["de", "fr", "es", "zh", "en"] * 4
    with ThreadPoolExecutor(4) as pool:
        for language, text in zip(asked, pool.map(ask, asked), strict=True):
            assert f'<html lang="{language}">' in text


def test_every_guide_a_page_leads_to_is_there_and_safe():
    for _, name in ABOUT:
        assert name in titles()
    for name in titles():
        html = guide_html(name)
        assert "<script" not in html and "javascript:" not in html
        for place in re.findall(r'href="([^"]*)"', html):
            assert place.startswith("/help/") or place.startswith("http://127.0.0.1"), (name, place)


def test_help_is_a_page_and_a_drawer_and_no_way_to_other_files(shop_app):
    whole = shop_app.get("/help?of=/bench/T-1").text
    assert "The bench screen" in whole and "<header>" in whole
    part = shop_app.get("/help/insight", headers={"hx-request": "true"}).text
    assert "<html" not in part and 'class="guide"' in part
    for name in ("../words", "..%2Fwords", "conf.py", "nobody"):
        assert shop_app.get(f"/help/{name}").status_code == 404


def test_a_page_that_is_not_there_says_so_and_an_address_of_the_api_says_it_in_json(shop_app):
    lost = shop_app.get("/no/such/page")
    assert lost.status_code == 404 and "There is no such page" in lost.text and "Today" in lost.text
    assert shop_app.get("/api/v1/nothing").json()["detail"]
    assert shop_app.get("/story/NOBODY").status_code == 404
    assert "NOBODY" in shop_app.get("/story/NOBODY").text  # a fault of ours keeps its own words
