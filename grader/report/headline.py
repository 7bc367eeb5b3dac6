"""The words over a stone, and what stands below them: the same on the screen, on the sheet and in a table.

They are all made of one proposal, so that none says otherwise than another.
"""

from grader.profile import Profile

#: In place of a grade, the word over a stone that the model does not know.
UNFAMILIAR = "unfamiliar"


def meaning(grade: str, profile: Profile) -> str:
    """Return the one-line meaning of a grade; of one that is no longer on the ladder, that."""
    return next(
        (rung.meaning for rung in profile.ladder if rung.grade == grade), "not on this ladder"
    )


def headline_words(proposal: dict | None) -> str:
    """Return the words over a stone, the same wherever it is told: "cabbing", or "cabbing or select: yours to say";
    of an unfamiliar stone that, and where no grade is proposed "retake"."""
    if proposal is None:
        return "retake"
    if proposal.get("unfamiliar"):
        return f"unlike the stones this model knows ({proposal['unfamiliar']}): your call"
    return label_words(proposal) + ("" if len(proposal["likely"]) == 1 else ": yours to say")


def label_words(proposal: dict | None) -> str:
    """Return the same as short as a label in a picture takes it: "cabbing", "cabbing or select", "unfamiliar" or
    "retake"."""
    if proposal is None:
        return "retake"
    if proposal.get("unfamiliar"):
        return UNFAMILIAR
    likely = proposal["likely"]
    if len(likely) == 1:
        return likely[0]
    return f"{likely[0]}{' or ' if len(likely) == 2 else ' to '}{likely[-1]}"


def headed_words(proposal: dict | None, profile: Profile) -> str:
    """Return the words over a stone and what they mean, as one line."""
    meant = meaning_words(proposal, profile)
    several = proposal is not None and len(proposal["likely"]) > 1
    return headline_words(proposal) + ("" if not meant else ". " if several else ": ") + meant


def proposal_of(stone: dict) -> dict | None:
    """Return what is proposed for a stone of a photo: where it is one face of a piece, that for the piece."""
    return stone["piece"]["proposal"] if stone.get("piece") else stone["proposal"]


def meaning_words(proposal: dict | None, profile: Profile) -> str:
    """Return what the words over a stone mean: of one grade its line, of several each one's."""
    if proposal is None:
        return "no grade is proposed from this photo"
    if proposal.get("unfamiliar"):
        return ""
    if len(proposal["likely"]) == 1:
        return meaning(proposal["grade"], profile)
    return "; ".join(f"{grade}: {meaning(grade, profile)}" for grade in proposal["likely"])


def set_words(proposal: dict) -> str | None:
    """Return "tumbling to select, nine times in ten"; ``None`` where the words over the stone say as much."""
    grades = proposal["grade_set"]["grades"]
    if proposal.get("unfamiliar") or grades == proposal["likely"]:
        return None
    if len(grades) == len(proposal["probabilities"]):
        return "any grade, nine times in ten"
    return f"{grades[0]} {'or' if len(grades) == 2 else 'to'} {grades[-1]}, nine times in ten"


def rules_words(proposal: dict) -> str | None:
    """Return the written rules' own word as one sentence, where the words over the stone do not hold it."""
    rules = proposal.get("rules")
    if not rules or rules["grade"] in proposal["likely"]:
        return None
    because = ""
    if rules["because"]:
        # Kept as "cabbing: blue_share at least 0.6".
        grade, condition = rules["because"].split(": ", 1)
        why = "since it has" if grade == rules["grade"] else f"{grade} needs"
        because = f"; {why} {condition}"
    return f"the written rules alone say {rules['grade']}{because}"


def line_care_words(piece: dict) -> str | None:
    """Return the caution about a lined stone, where lines are seen on one that may go to the saw."""
    proposal = piece["proposal"]
    if not proposal or not piece["cracks"]["count"]:
        return None
    lowest = next(iter(proposal["probabilities"]))
    if proposal["likely"] == [lowest]:
        return None
    return "a lined stone can come apart on saw or wheel, and a photo shows no depth"
