"""Photos added at the table: in parts, whole or not at all, and never lost on the way."""

import hashlib
import time
from decimal import Decimal
from threading import Thread

import pytest

from grader.deals.hauls import new_haul
from grader.ledger import stock, views
from grader.table.adding import Adding
from grader.table.uploads import LANDED, MOST_BYTES, MOST_PART, Uploads
from grader.weight import Weight

#: A JPEG begins so (ITU-T T.81, annex B); the rest is read by the hand-made measuring.
JPEG = b"\xff\xd8\xff"
UID = "ab" * 16
OCTETS = {"content-type": "application/octet-stream", "origin": "http://127.0.0.1:8000"}


@pytest.fixture
def table(laid):
    return laid({"a.jpg": "1 first"})


@pytest.fixture
def adding(table):
    return Adding(table, Uploads(table.ledger.path))


@pytest.fixture
def page(table, ask, adding):
    return ask(table, adding=adding)


def begin(page, content, name="IMG_9.jpg", uid=UID, **more):
    body = {"uid": uid, "name": name, "bytes": len(content), "by": "Nell"} | more
    return page.post("/api/photos", body)


def part(page, content, at=0, uid=UID, headers=OCTETS):
    return page(
        "POST", f"/api/photos/{uid}/part", params={"at": at}, content=content, headers=headers
    )


def send(page, content, **given):
    assert begin(page, content, **given).json()["have"] == 0
    return part(page, content, uid=given.get("uid", UID)).json()


def told(page):
    return page.get("/api/photos").json()["photos"]


def files(adding):
    return sorted(p.name for p in adding.uploads.folder.glob("*") if p.is_file())


def test_a_photo_that_was_sent_is_graded_under_its_own_name_and_lies_under_its_content(
    page, table, adding
):
    content = JPEG + b"2 stones"
    assert send(page, content)["state"] == "landed"
    name = f"{hashlib.sha256(content).hexdigest()}.jpg"
    assert files(adding) == [name]
    assert adding.grade_landed()
    (one,) = told(page)
    labels = [table.stone(id).label for id in one["stones"]]
    assert one["line"] == f"IMG_9.jpg: 2 stones, {labels[0]}, {labels[1]}"
    assert [table.stone(id).photo for id in one["stones"]] == ["IMG_9.jpg"] * 2
    assert not adding.grade_landed()
    # Kept in the ledger as any other photo, so that it lies there at the next start too.
    assert len(views.last_looks(table.ledger)) == 2


def test_a_half_sent_photo_goes_on_where_it_was_also_after_a_restart(table, page, ask, adding):
    content = JPEG + b"1" + b" " * 9000
    begin(page, content)
    assert part(page, content[:5000]).json() == {"state": "coming", "have": 5000, "line": None}
    # A part that came twice, as after an answer that was lost, is left out.
    assert part(page, content[:5000]).json()["have"] == 5000
    again = Adding(table, Uploads(table.ledger.path))
    page = ask(table, adding=again)
    assert begin(page, content).json()["have"] == 5000
    assert part(page, content[5000:], at=5000).json()["state"] == "landed"
    after = Adding(table, Uploads(table.ledger.path))
    assert after.grade_landed()
    assert after.uploads.all[0].state == "graded"
    assert (after.uploads.folder / files(after)[0]).read_bytes() == content


def test_one_that_ends_between_note_and_move_lands_at_the_next_start(page, adding, monkeypatch):
    def ends(*_):
        raise KeyboardInterrupt

    content = JPEG + b"1"
    begin(page, content)
    with monkeypatch.context() as patch:
        patch.setattr("grader.table.uploads.os.replace", ends)
        with pytest.raises(KeyboardInterrupt):
            adding.uploads.take(UID, 0, content)
    again = Uploads(adding.uploads.folder.with_name("table.sqlite"))
    # The note of the landing was not written, or the move was not made: either way nothing of the photo is lost.
    assert again.have(UID) == len(content)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"%PDF-1.7 and more", "IMG_9.jpg: a PDF, not a photo; give a JPEG"),
        (b"<svg onload=alert(1)>", "IMG_9.jpg: a web page or drawing, not a photo"),
        (JPEG + b"bad", "IMG_9.jpg: not a photo; give a JPEG"),
        (JPEG + b"crash", "IMG_9.jpg: could not be measured"),
    ],
)
def test_a_bad_photo_says_so_in_one_line_and_the_others_are_graded(page, adding, content, words):
    send(page, content)
    send(page, JPEG + b"1 good", uid="cd" * 16)
    adding.grade_landed()
    good, bad = told(page)
    assert (good["state"], bad["state"]) == ("graded", "refused")
    assert (bad["line"][: len(words)], "\n" in bad["line"]) == (words, False)
    page.post(f"/api/photos/{UID}/drop", {"by": "Nell"})
    assert [one["uid"] for one in told(page)] == ["cd" * 16]
    assert len(files(adding)) == 1


def test_one_that_could_not_be_measured_is_tried_again(page, adding, monkeypatch):
    send(page, JPEG + b"1")
    with monkeypatch.context() as patch:
        patch.setattr("grader.looking.measure_file", None)
        adding.grade_landed()
    assert told(page)[0]["again"]
    page.post(f"/api/photos/{UID}/again", {"by": "Nell"})
    adding.grade_landed()
    assert told(page)[0]["state"] == "graded"


def test_the_same_photo_twice_is_one_photo(page, table, adding):
    for uid in (UID, "cd" * 16):
        send(page, JPEG + b"1", uid=uid)
    adding.grade_landed()
    assert (len(files(adding)), len(table.stones)) == (1, 2)
    assert {one["state"] for one in told(page)} == {"graded"}


def test_of_a_haul_the_stones_get_their_numbers(page, table, adding):
    new_haul(table.ledger, "07", Weight("120lb", Decimal(54431)), None, None)
    assert begin(page, b"1", haul="99").status_code == 409
    send(page, JPEG + b"2", haul="07")
    adding.grade_landed()
    assert told(page)[0]["line"].startswith("IMG_9.jpg: 2 stones, 07-001: ")
    assert {one.code for one in stock.pieces(table.ledger).values()} == {"07-001", "07-002"}


@pytest.mark.parametrize(
    ("name", "told_as"),
    [
        ("../../etc/passwd.jpg", "passwd.jpg"),
        ("C:\\photos\\IMG 1.JPG", "IMG 1.JPG"),
        ("a\u202egpj.jpg", "a\ufffdgpj.jpg"),
        ("<img src=x>.jpg", "<img src=x>.jpg"),
        ("..", ".."),
    ],
)
def test_a_name_is_only_ever_told(page, adding, name, told_as):
    send(page, JPEG + b"1", name=name)
    assert told(page)[0]["name"] == told_as
    assert files(adding) == [f"{hashlib.sha256(JPEG + b'1').hexdigest()}.jpg"]


def test_what_a_camera_gives_no_name_gets_the_time(page):
    send(page, JPEG + b"1", name="image.jpg")
    assert told(page)[0]["name"].startswith(f"image {time.strftime('%Y-%m-')}")


def test_too_much_is_refused_before_it_is_taken(page, adding, monkeypatch):
    answer = begin(page, b"", name="big.tif", bytes=MOST_BYTES + 1)
    assert (answer.status_code, "save it smaller" in answer.json()["error"]) == (409, True)
    assert begin(page, b"").status_code == 409
    begin(page, JPEG)
    assert part(page, JPEG + b"and more").json()["state"] == "refused"
    assert part(page, b" " * (MOST_PART + 1)).status_code == 413
    monkeypatch.setattr("grader.table.uploads.ROOM", 10**18)
    answer = begin(page, b"1", uid="cd" * 16)
    assert "nearly full" in answer.json()["error"]
    assert [one.uid for one in adding.uploads.all] == [UID]


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"content-type": "application/json", "origin": OCTETS["origin"]}, 415),
        ({"content-type": "multipart/form-data", "origin": OCTETS["origin"]}, 415),
        ({"content-type": "application/octet-stream"}, 403),
        (OCTETS | {"origin": "http://stones.example"}, 403),
    ],
)
def test_parts_come_from_the_tables_own_pages_alone(page, headers, status):
    begin(page, JPEG)
    assert part(page, JPEG, headers=headers).status_code == status
    assert page("POST", "/api/calls", headers=OCTETS, content=b"x").status_code == 415


def test_photos_and_what_is_on_its_way_are_not_served(page, adding):
    send(page, JPEG + b"1")
    (name,) = files(adding)
    for where in (f"/pictures/{name}", f"/static/{name}", f"/{name}", f"/static/../{name}"):
        assert page.get(where).status_code in (404, 422)
    assert adding.uploads.folder.name == "table.photos"


def test_while_the_ledger_cannot_be_written_photos_wait(page, adding, monkeypatch):
    from grader.errors import LedgerError

    def full(*_):
        raise LedgerError("the disk is full; make room")

    send(page, JPEG + b"1")
    with monkeypatch.context() as patch:
        patch.setattr("grader.table.tray.shown", full)
        with pytest.raises(LedgerError):
            adding.grade_landed()
    assert adding.uploads.all[0].state == LANDED
    assert adding.grade_landed()


def wait_for(fact):
    until = time.monotonic() + 60
    while not fact():
        assert time.monotonic() < until
        time.sleep(0.05)


def test_behind_the_page_what_lands_is_graded_by_itself(page, adding):
    adding.begin()
    send(page, JPEG + b"1")
    wait_for(lambda: told(page)[0]["state"] == "graded")
    adding.end()


@pytest.mark.slow
def test_a_watched_folder_gives_its_photos_where_they_lie(table, ask, tmp_path):
    pytest.importorskip("watchfiles")
    folder = tmp_path / "from the phone"
    folder.mkdir()
    (folder / "was there.jpg").write_bytes(b"1 old")
    adding = Adding(table, Uploads(table.ledger.path), folder)
    adding.begin()
    page = ask(table, adding=adding)
    try:
        wait_for(lambda: adding.watched.graded == 1)
        (folder / "new.jpg").write_bytes(b"2 new")
        (folder / "no photo.jpg").write_bytes(b"bad")
        (folder / "notes.txt").write_bytes(b"1")
        wait_for(lambda: adding.watched.graded == 2 and adding.watched.refused)
        watched = page.get("/api/photos").json()["watched"]
        assert watched["refused"] == ["no photo.jpg: not a photo; give a JPEG"]
        assert {one.photo for one in table.stones} == {"a.jpg", "was there.jpg", "new.jpg"}
        # Mended, it is taken.
        (folder / "no photo.jpg").write_bytes(b"1 mended")
        wait_for(lambda: adding.watched.graded == 3)
        assert adding.watched.refused == ()
        # Whatever it is called, a photo that was graded before is not graded twice; that is told.
        (folder / "again.jpg").write_bytes(b"2 new")
        wait_for(lambda: adding.watched.known == 1)
        assert page.get("/api/photos").json()["watched"] | {"folder": ""} == {
            "folder": "", "graded": 3, "known": 1, "refused": [], "lacks": None
        }  # fmt: skip
    finally:
        adding.end()


def test_two_at_once_send_their_own_photos(page, adding):
    contents = {f"{n:032x}": JPEG + b"1" + bytes([n]) * 20000 for n in range(6)}

    def sends(uid, content):
        begin(page, content, uid=uid)
        for at in range(0, len(content), 7000):
            part(page, content[at : at + 7000], at=at, uid=uid)

    threads = [Thread(target=sends, args=one) for one in contents.items()]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert len(files(adding)) == 6
    assert {one.state for one in adding.uploads.all} == {"landed"}
