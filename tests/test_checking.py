"""Photos graded one by one, below the command: what becomes of each, what is measured, and what is drawn."""

from pathlib import Path

import cv2
import pytest

from grader.checking import check_one_piece, check_photos, write_pictures
from grader.errors import GraderError
from grader.photo.terms import PhotoTerms
from grader.session import Session


@pytest.fixture
def session(tmp_path, monkeypatch, measuring):
    """A session that keeps nothing, in a folder of photos that are text files: two with stones, one that is bad."""
    monkeypatch.chdir(tmp_path)
    for name, content in (("a.jpg", "1"), ("b.jpg", "2"), ("bad.jpg", "bad")):
        Path(name).write_text(content)
    return Session(dry=True)


def test_a_photo_that_cannot_be_read_stops_no_other(session):
    photos = [Path(name) for name in ("a.jpg", "bad.jpg", "b.jpg")]
    checked = list(check_photos(photos, PhotoTerms(), session))
    assert [one.failed for one in checked] == [False, True, False]
    assert [len(one.record["pieces"]) for one in checked] == [1, 0, 2]
    assert "give a JPEG" in checked[1].record["error"]["text"]


def test_each_photo_is_there_as_soon_as_it_is_done(session, measuring):
    checked = check_photos([Path("a.jpg"), Path("b.jpg")], PhotoTerms(), session)
    assert next(checked).record["photo"]["file"] == "a.jpg"
    assert [one.photo.name for one in measuring] == ["a.jpg"]


def test_further_photos_of_one_face_are_no_records_of_their_own(session, measuring):
    (checked,) = check_photos([Path("a.jpg"), Path("b.jpg")], PhotoTerms(), session, same_face=True)
    assert checked.record["photo"]["file"] == "a.jpg"
    assert measuring[0].terms.same_face == (Path("b.jpg"),)


def test_a_known_photo_is_measured_once_and_anew_where_that_is_asked(session, measuring):
    kept = Session()
    for anew, times in ((False, 1), (False, 1), (True, 2)):
        list(check_photos([Path("a.jpg")], PhotoTerms(), kept, anew=anew))
        assert len(measuring) == times
    kept.close()


def test_a_picture_is_drawn_and_a_scene_that_is_not_there_is_remarked(session):
    (checked,) = check_photos([Path("a.jpg")], PhotoTerms(), session)
    assert write_pictures(checked, session.profile) == ()
    (remark,) = write_pictures(
        checked, session.profile, picture=Path("drawn.png"), scene=Path("scene.png")
    )
    assert remark.code == "no_scene" and remark.text.startswith("a.jpg: ")
    assert cv2.imread("drawn.png") is not None and not Path("scene.png").exists()


def test_faces_of_one_piece_show_one_stone_each(session):
    one, bad, two, same = check_photos(
        [Path("a.jpg"), Path("bad.jpg"), Path("b.jpg"), Path("a.jpg")], PhotoTerms(), session
    )
    assert check_one_piece([one, bad], session) == [one, bad]
    for wrong, why in ((two, r"b\.jpg: 2 stones"), (same, r"a\.jpg: the same photo twice")):
        with pytest.raises(GraderError, match=why) as raised:
            check_one_piece([one, wrong], session)
        assert raised.value.code == "not_one_piece"
