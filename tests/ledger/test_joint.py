"""Faces of one piece: the last word on a face holds, and a call on one stands on all."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.grading.calls.joining import Stones
from grader.ledger import views
from grader.ledger.facts import FaceOfPiece, NamedPiece, SavedCall
from grader.ledger.joint import (
    calls_on_faces,
    joint_pieces,
    later_faces,
    piece_at,
    standing_faces,
)
from grader.ledger.store import open_ledger

PHOTOS = [letter * 64 for letter in "abcd"]
BOX, ASIDE = (10, 10, 100, 80), (200, 10, 100, 80)


def call(photo, grade, box=BOX):
    return SavedCall(photo, f"{photo[0]}.jpg", 1, box, grade=grade)


def joined(ledger, *faces):
    piece = NamedPiece()
    ledger.add(piece, *(FaceOfPiece(piece.uid, photo, box) for photo, box in faces))
    return piece.uid


def test_faces_stand_alone_until_they_are_joined(tmp_path):
    with open_ledger(tmp_path / "a.sqlite") as ledger:
        for photo in PHOTOS[:2]:
            joined(ledger, (photo, BOX))
        assert joint_pieces(ledger) == ()
        uid = joined(ledger, (PHOTOS[0], BOX), (PHOTOS[1], BOX))
        (piece,) = joint_pieces(ledger)
        assert (piece.uid, [face.sha256 for face in piece.faces]) == (uid, PHOTOS[:2])
        # The last word on a face holds: it goes to another piece.
        joined(ledger, (PHOTOS[1], BOX))
        assert joint_pieces(ledger) == ()
        before = [face.uid for face in standing_faces(ledger, PHOTOS)]
        ledger.replay()
        assert [face.uid for face in standing_faces(ledger, PHOTOS)] == before


def test_a_call_on_one_face_stands_on_all_and_on_no_neighbour(tmp_path):
    with open_ledger(tmp_path / "a.sqlite") as ledger:
        joined(ledger, (PHOTOS[0], ASIDE))
        joined(ledger, (PHOTOS[0], BOX), (PHOTOS[1], BOX))
        ledger.add(call(PHOTOS[0], "select"), call(PHOTOS[0], "waste", ASIDE))
        (there,) = calls_on_faces(ledger, {PHOTOS[1]})
        assert (there.grade, there.sha256, there.box) == ("select", PHOTOS[1], BOX)
        assert [one.grade for one in calls_on_faces(ledger, {PHOTOS[0]})] == ["select", "waste"]
        assert len(views.calls(ledger)) == 2
        (piece,) = joint_pieces(ledger)
        assert piece_at(there, [piece]) is piece
        photos = {p: Stones(p, p, {1: ASIDE, 2: BOX}) for p in PHOTOS[:2]}
        assert piece.places(photos) == [(PHOTOS[0], 2), (PHOTOS[1], 2)]
        assert later_faces([piece], photos) == {(PHOTOS[1], 2)}


@pytest.mark.slow
@settings(max_examples=15, deadline=None)
@given(st.lists(st.lists(st.sampled_from(PHOTOS), min_size=1, unique=True), max_size=5))
def test_each_face_is_of_one_piece_whatever_was_joined(tmp_path_factory, groups):
    """Held against a plain look-up of the last group that names a photo."""
    with open_ledger(tmp_path_factory.mktemp("joint") / "a.sqlite") as ledger:
        uids = [joined(ledger, *((photo, BOX) for photo in group)) for group in groups]
        last = {
            photo: next(u for u, g in zip(uids[::-1], groups[::-1], strict=True) if photo in g)
            for photo in {photo for group in groups for photo in group}
        }
        assert {face.sha256: face.piece for face in standing_faces(ledger, PHOTOS)} == last
        several = {uid for uid in last.values() if list(last.values()).count(uid) > 1}
        assert {piece.uid for piece in joint_pieces(ledger)} == several
