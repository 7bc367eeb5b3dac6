"""Who may speak with the table: pages of its own on this machine, nobody else."""

import pytest

from grader.table.share import Sharing, code_text

HERE = "http://127.0.0.1:8000"
CALL = "/api/calls"
OWN = {"origin": HERE, "content-type": "application/json"}


@pytest.fixture
def table(laid):
    return laid({"a.jpg": "1"})


@pytest.mark.parametrize(
    "host",
    [
        "stones.example:8000",
        "127.0.0.1",
        "127.0.0.1:9",
        "localhost:8000.stones.example",
        "",
        "[::1]:8000",
    ],
)
def test_another_name_for_this_machine_is_refused(table, ask, host):
    # A page elsewhere can give its own name this address: its requests would then be of one origin with the answers.
    answer = ask(table).get("/api/progress", headers={"host": host})
    assert (answer.status_code, "table" in answer.text) == (403, True)


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 403),
        ({"origin": "http://stones.example"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "https://127.0.0.1:8000"}, 403),
        (OWN | {"sec-fetch-site": "cross-site"}, 403),
        (OWN | {"sec-fetch-site": "same-site"}, 403),
        (OWN | {"content-type": "text/plain"}, 415),
        (OWN | {"content-type": "application/x-www-form-urlencoded"}, 415),
        (OWN | {"content-length": "99999999"}, 413),
        (OWN | {"content-length": "-1"}, 411),
        (OWN, 422),
        (OWN | {"sec-fetch-site": "same-origin"}, 422),
    ],
)
def test_only_pages_of_the_table_send(table, ask, headers, status):
    assert ask(table)("POST", CALL, headers=headers, content=b"{}").status_code == status


def test_other_pages_do_not_show_its_pictures(table, ask):
    answer = ask(table).get(
        "/api/progress", headers={"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"}
    )
    assert answer.status_code == 403


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "OPTIONS"])
def test_other_ways_of_asking_are_refused(table, ask, method):
    assert ask(table)(method, "/").status_code == 405


@pytest.mark.parametrize(
    "path", ["/", "/static/main.js", "/api/progress", "/nothing", "/static/../app.py"]
)
def test_every_answer_says_what_its_page_may_do(table, ask, path):
    headers = ask(table).get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"


def test_the_page_holds_no_script_and_no_style_of_its_own(table, ask):
    page = ask(table).get("/").text
    assert "<style" not in page
    assert " style=" not in page
    assert page.count("<script") == 1
    assert " on" not in page.split("<body")[0]
    assert "http://" not in page.replace('xmlns="http://www.w3.org', "")
    assert "https://" not in page


def test_from_another_machine_it_is_not_reached(table, ask):
    assert ask(table, client="192.168.7.20").get("/").status_code == 403


def test_a_shared_table_lets_one_device_in_by_one_code_once(table, ask):
    sharing = Sharing(frozenset({"127.0.0.1:8000"}))  # The name that this test's client asks by.
    phone = ask(table, "192.168.7.20", sharing)
    assert phone.get("/").status_code == 403
    code = sharing.new_code()
    entered = phone.get(f"/enter?code={code}")
    cookie = entered.headers["set-cookie"]
    assert (entered.status_code, "HttpOnly" in cookie, "SameSite=lax" in cookie) == (
        303,
        True,
        True,
    )
    known = {"cookie": cookie.partition(";")[0]}
    assert phone.get("/", headers=known).status_code == 200
    assert phone.get(f"/enter?code={code}").status_code == 403
    assert phone.get("/", headers={"cookie": "grader-table=guessed"}).status_code == 403
    assert ask(table, "127.0.0.1", sharing).get("/").status_code == 200


def test_a_code_is_too_old_after_ten_minutes(monkeypatch):
    sharing = Sharing(frozenset())
    code = sharing.new_code()
    monkeypatch.setattr("grader.table.share.monotonic", lambda: float("inf"))
    assert sharing.enter(code) is None


def test_the_code_to_scan_leads_to_the_entrance(table, ask):
    # Read back by another library, as a phone reads it.
    import cv2
    import numpy as np

    sharing = Sharing(frozenset({"127.0.0.1:8000"}))
    answer = ask(table, sharing=sharing).post("/api/code", {"by": "Nell"}).json()
    dark = np.kron(np.array(answer["rows"]), np.ones((6, 6), bool))
    read, *_ = cv2.QRCodeDetector().detectAndDecode(np.where(dark, 0, 255).astype(np.uint8))
    assert read.startswith("http://127.0.0.1:8000/enter?code=")
    assert sharing.enter(read.partition("=")[2])


def test_who_was_let_in_lets_nobody_else_in(table, ask):
    sharing = Sharing(frozenset({"127.0.0.1:8000"}))
    cookie = {"cookie": f"grader-table={sharing.enter(sharing.new_code())}"}
    phone = ask(table, "192.168.7.20", sharing)
    assert phone.post("/api/code", {"by": "Ole"}, headers=cookie).status_code == 403
    assert ask(table).post("/api/code", {"by": "Nell"}).status_code == 403


def test_a_code_as_text_draws_two_rows_a_line():
    rows = [[True, False, True], [False, False, True], [True, True, False]]
    assert code_text(rows) == "\u2584\u2588 \n  \u2580"
