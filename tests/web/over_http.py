"""What the tests without a browser say again and again."""

import time


def add(client, serial):
    done = client.post("/api/v1/pieces", json={"serial": serial, "model": "Larch 52"})
    assert done.status_code == 201


def wait(client, serial):
    for _ in range(200):
        question = client.get(f"/api/v1/bench/{serial}").json()["question"]
        if question not in ("spinning", "reading"):
            return question
        time.sleep(0.05)
    raise AssertionError("the spin did not end")
