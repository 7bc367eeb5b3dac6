"""What a person says of a piece with several faces: kept as the piece's, and taken back."""

from collections.abc import Sequence
from dataclasses import replace

from grader.calling import call_fact, last_call, place_on, stone_called, with_shown
from grader.errors import CallsError
from grader.grading.calls.joining import same_stone
from grader.grading.proposal import Call
from grader.ledger.facts import Entry, Fact, TakenBack
from grader.ledger.joint import calls_on_faces, joint_pieces, piece_at
from grader.looks import Look
from grader.pieces import faces_of_one, joining_facts, parting_facts, with_pieces
from grader.session import Session


def save_piece_call(looks: Sequence[Look], call: Call, session: Session) -> tuple[Call, dict]:
    """Save a call on the piece of which these photos show a face each; return it with what was proposed beside it, and
    the record of the stone in the first photo with all calls on the piece.

    From now on they are one piece: its call stands on each of its faces, whichever photo is looked at.

    Parameters
    ----------
    call : its grade by the ladder's own name.

    Raises
    ------
    GraderError
        A photo shows another number of stones than one, or is given twice: one line.
    """
    profile, model, ledger = session.profile, session.model(), session.ledger
    first, pieces = looks[0], [faces_of_one(looks)]
    record = first.graded(profile, model)
    (record,) = with_pieces([record], looks, pieces, profile, model, ledger)
    placed = with_shown(place_on(first, _on(first, call)), record)
    facts = [*joining_facts(looks, ledger), call_fact(placed)]
    ledger.take([Entry(0, placed.by, placed.time, fact) for fact in facts])
    return placed, stone_called(first, record, placed.piece, session)


def take_back_piece_call(
    looks: Sequence[Look], call: Call, session: Session
) -> tuple[Call, Call | None, dict]:
    """Take back the last call that holds on a piece; where no other holds then, each face stands alone again.

    Returns
    -------
    placed : the call as it was asked for, on the stone of the first photo.
    back : the call taken back; ``None`` where none held and the faces were only parted.
    stone : the record of that stone, with the calls that hold now.

    Raises
    ------
    GraderError
        These photos are not of one piece, or another person's call alone holds: one line.
    """
    ledger, first = session.ledger, looks[0]
    faces = faces_of_one(looks).faces
    piece = piece_at(faces[0], joint_pieces(ledger))
    if piece is None or any(piece_at(face, [piece]) is None for face in faces):
        raise CallsError(
            f"{', '.join(look.ask.file for look in looks)}: not known as one piece; without --one-piece a call on one "
            "photo is taken back"
        )
    placed = place_on(first, _on(first, call))
    hold = [one for one in calls_on_faces(ledger, {placed.sha256}) if same_stone(one, placed)]
    back = last_call(placed, ledger)
    if back is None and hold:
        raise CallsError(
            f"{placed.photo}: nothing to take back, no call by {placed.by} on it holds"
        )
    facts: list[Fact] = [TakenBack(call=back.uid)] if back else []
    if len(hold) <= len(facts):
        facts += parting_facts(piece)
    ledger.add(*facts, author=placed.by)
    return placed, back, stone_called(first, first.record, placed.piece, session)


def _on(look: Look, call: Call) -> Call:
    """The call as it is said of the only stone of a photo."""
    return replace(call, photo=look.ask.file, sha256=look.ask.sha256, piece=None)
