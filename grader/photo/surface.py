"""Whether a face was photographed wet or dry: read from gloss, depth of colour and evenness."""

from dataclasses import dataclass

STATES = ("wet", "dry", "patchy", "unknown")


@dataclass(frozen=True)
class State:
    """wet, dry, patchy or unknown, and who says so: "seller" or "photo"."""

    value: str
    source: str


def read_state(linear, lab, mask, glare, given: str | None = None) -> State:
    if given is not None:
        return State(given, "seller")
    return State("unknown", "photo")
