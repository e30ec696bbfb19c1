"""Pages and forms without a browser: faults at their fields, and nothing of a stranger."""

from web.over_http import add


def test_models_page_keeps_what_was_typed(client):
    text = (
        'name = "Elm 1"\nrotation = "clockwise"\nrated_speed_rpm = 90000\ntest_speed_rpm = 99000\n'
    )
    text += '[[plane]]\nname = "nut"\nradius_mm = 7.0\n'
    wrong = client.post("/models/text", data={"text": text})
    assert wrong.status_code == 422
    assert "above rated_speed_rpm" in wrong.text and "Elm 1" in wrong.text
    right = client.post("/models/text", data={"text": text.replace("99000", "80000")})
    assert right.status_code == 200 and "Elm 1" in client.get("/api/v1/models").text
    assert client.post("/models/text", data={"text": "name = "}).status_code == 422


def test_pieces_of_a_job_see_each_other(client):
    for serial, position in (("T-1", "front"), ("T-2", "rear")):
        client.post(
            "/api/v1/pieces",
            json={"serial": serial, "model": "Larch 52", "customer": "Nine Mills Farm",
                  "invoice": "26-77", "position": position},
        )  # fmt: skip
    assert "rear: T-2" in client.get("/bench/T-1").text
    assert "front: T-1" in client.get("/bench/T-2").text


def test_other_sites_cannot_ask_for_changes(client):
    done = client.post("/pieces", data={"serial": "X"}, headers={"origin": "http://evil.example"})
    assert done.status_code == 403
    assert client.get("/", headers={"host": "evil.example"}).status_code == 400


def test_secure_headers_and_no_inline_script(client):
    page = client.get("/")
    policy = page.headers["content-security-policy"]
    assert "default-src 'self'" in policy and "unsafe" not in policy
    assert "<script>" not in page.text and " onclick" not in page.text and "style=" not in page.text


def test_markup_in_names_stays_text(client):
    add(client, "<b>x</b>/2")
    page = client.get("/bench/%3Cb%3Ex%3C%2Fb%3E%2F2")
    assert page.status_code == 200
    for text in (page.text, client.get("/").text):
        assert "<b>x</b>/2" not in text and "&lt;b&gt;x" in text


def test_model_form_says_each_fault_at_its_field(client):
    form = {
        "name": "Elm 2", "rotation": "clockwise", "rated_speed_rpm": "0", "test_speed_rpm": "fast",
        "plane-0-name": "nut", "plane-0-radius_mm": "-1", "plane-0-allowed_deg": "20-160, 200-340",
    }  # fmt: skip
    wrong = client.post("/models", data=form)
    assert wrong.status_code == 422
    for field in ("rated_speed_rpm", "test_speed_rpm", "plane-0-radius_mm"):
        assert f'id="fault-{field}"' in wrong.text
    assert 'value="fast"' in wrong.text
    form |= {"rated_speed_rpm": "90000", "test_speed_rpm": "80000", "plane-0-radius_mm": "7,5"}
    assert client.post("/models", data=form, follow_redirects=False).status_code == 303
    made = client.get("/api/v1/models/Elm 2").json()
    assert made["plane"][0]["radius_mm"] == 7.5
    assert made["plane"][0]["allowed_deg"] == [[20, 160], [200, 340]]
    again = client.get("/models/edit?name=Elm 2").text
    assert 'value="20-160, 200-340"' in again
    form |= {"known": "Elm 2", "test_speed_rpm": "85000", "limit-house": "0.4"}
    client.post("/models", data=form)
    assert client.get("/api/v1/models/Elm 2").json()["limit"] == [{"name": "house", "limit_g": 0.4}]


def test_rig_form(client):
    wrong = client.post("/rigs", data={"due": "soon", "sensors-0-sensitivity": "ten"})
    assert wrong.status_code == 422
    for field in ("name", "due", "sensors-0-sensitivity", "sensors-0-name"):
        assert f'id="fault-{field}"' in wrong.text
    good = {"name": "north rig", "kind": "high-speed rig", "due": "2020-01-01"}
    assert client.post("/rigs", data=good, follow_redirects=False).status_code == 303
    assert "calibration was due 1 Jan 2020" in client.get("/rigs").text


def test_a_body_too_large_is_refused(client):
    answer = client.post("/api/v1/matchings", content=b"x" * 5_000_000)
    assert answer.status_code == 413 and "too large" in answer.json()["detail"]
    odd = client.post("/api/v1/matchings", content=b"{}", headers={"content-length": "-1"})
    assert odd.status_code == 413


def test_script_in_a_name_stays_text(client):
    name = "<script>alert(1)</script>{{ 7 * 7 }}"
    made = client.post(
        "/api/v1/pieces", json={"serial": "X<1>", "model": "Larch 52", "customer": name}
    )
    assert made.status_code == 201
    for path in ("/", "/story/X<1>", "/bench/X<1>", "/find?q=alert", "/jobs"):
        text = client.get(path).text
        assert "<script>alert" not in text and "49" not in text.split("{{ 7")[0][-3:]
        assert "&lt;script&gt;" in text or path == "/find?q=alert"
