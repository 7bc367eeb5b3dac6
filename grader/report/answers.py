"""The buyers' answer sheet: short answers to what buyers ask, from recorded facts alone."""

from collections.abc import Sequence

from grader.report.listing import (
    NOT_RECORDED,
    cabs_words,
    colour_rows,
    grade_words,
    holds_words,
    is_bin,
    lines_words,
    looked_words,
    photo_words,
    piece_rows,
    place_words,
    seen_size_words,
    weight_words,
)
from grader.report.listing_page import template_words
from grader.report.listing_price import break_lines, price_words


def answers(record: dict, boxes: Sequence[str]) -> dict[str, str]:
    """Return what is answered, by question, in the order in which buyers mostly ask.

    record : of the listing.   boxes : which of the seller's boxes take it, each with where it goes.
    """
    said = {name: text or NOT_RECORDED for name, text in record["said"].items()}
    told = {"How large is it?": seen_size_words(record)}
    if is_bin(record):
        told = {
            "What is in it?": holds_words(record),
            "How large are the pieces?": seen_size_words(record),
        }
    if record["pieces"] is not None:
        told = {
            "What is in the lot?": "; ".join(f"{code}: {text}" for code, text in piece_rows(record))
        }
    told["What does it weigh?"] = weight_words(record)
    if record["pieces"] is None:
        told |= {
            "Has it cracks?": lines_words(record["faces"]),
            "How were they looked for?": looked_words(record),
            "What can be cut from it?": _cuts(record),
            "Which colours, and how much host rock?": "; ".join(colour_rows(record["shares"])),
            "How were the colours set?": "; ".join(record["colours_by"]) or NOT_RECORDED,
        }
    elif record["looked"]:
        told["How were cracks looked for?"] = record["looked"]
    return told | {
        "Is it the piece in the photo, wet or dry?": photo_words(record),
        "What does the grade mean?": grade_words(record),
        "Is it treated?": said["treatment"],
        "Does it take a polish?": said["polish"],
        "How hard is it?": said["hardness"],
        "How deep does the pattern go?": said["depth"],
        "Where is it from?": place_words(record),
        "What does the price hold?": "; ".join(
            (price_words(record["price"]), *break_lines(record["price"]))
        ),
        "How is it sent?": "; ".join(boxes) or NOT_RECORDED,
        "Can I send it back?": said["returns"],
    }


def _cuts(record: dict) -> str:
    view = record["view"]
    cabs = cabs_words(record["cabs"], bool(record["faces"]))
    return f"{cabs}; best view: {template_words(view)}" if view else cabs


def answer_lines(told: dict[str, str]) -> list[str]:
    """Return question and answer, two lines each."""
    return [line for question, text in told.items() for line in (question, f"  {text}")]
