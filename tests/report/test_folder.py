"""What became of a graded folder, in lines."""

from decimal import Decimal

from grader.ledger.stock import Piece
from grader.report.folder import total_lines
from grader.report.result import photo_record

LADDER = ("waste", "tumbling", "cabbing", "select")


def stone(record, **changed):
    (one,) = record["pieces"]
    return record | {"pieces": [one | changed]}


def test_totals_tell_pieces_and_weight_by_grade_in_the_order_of_the_ladder(make_graded):
    plain = photo_record(make_graded())
    (one,) = plain["pieces"]
    said = one["proposal"] | {"unfamiliar": None}

    def proposed(*likely, **more):
        return stone(plain, proposal=said | {"likely": list(likely), "grade": likely[0]}, **more)

    piece = Piece("1" * 32, "07-001", "h", 1, None, Decimal("453.59237"), "1lb", guessed=True)
    records = [
        proposed("select"),
        proposed("cabbing", number="07-001"),
        proposed("cabbing", number="07-001"),  # the same piece on another photo
        proposed("cabbing", number="07-002"),
        proposed("cabbing", "select"),
        stone(plain, proposal=None),
        stone(plain, proposal=said | {"unfamiliar": "bands"}),
        proposed("waste", call={"grade": "gravel"}),  # of an earlier ladder
        {"photo": {"file": "b.jpg"}, "error": {"text": "no photo"}},
    ]
    assert total_lines(records, {"07-001": piece}, LADDER, "lb") == [
        "cabbing: 2 pieces, 1.00 lb (1 not weighed, 1 guessed)",
        "cabbing or select: 1 piece",
        "select: 1 piece",
        "retake: 1 piece",
        "unfamiliar: 1 piece",
        "gravel: 1 piece",
    ]
