"""What is told of a stone, the same on the sheet and on the table: the words over it, its chances and its facts."""

from grader.profile import Profile
from grader.report import headline, one_piece, words
from grader.report.screen import WOULD_LIFT


def chances(proposal: dict | None) -> dict[str, float]:
    """Return the chances that are told: none of an unfamiliar stone."""
    return {} if not proposal or proposal.get("unfamiliar") else proposal["probabilities"]


def headed(proposal: dict | None, profile: Profile) -> dict[str, str]:
    """Return the words over a stone and what they mean: an unfamiliar stone has no grade over it."""
    if proposal and proposal.get("unfamiliar"):
        return {"grade": headline.UNFAMILIAR, "meaning": headline.headline_words(proposal)}
    return {
        "grade": headline.headline_words(proposal),
        "meaning": headline.meaning_words(proposal, profile),
    }


def piece_facts(piece: dict) -> list[tuple[str, str]]:
    """Return that it is one face of a piece, and what is taken from which."""
    if not piece.get("piece"):
        return []
    own = headline.headline_words(piece["proposal"])
    told = words.faces_words(piece["piece"]), one_piece.from_words(piece["piece"])
    return [("piece", told[0]), ("", told[1]), ("alone", f"this face: {own}")]


def facts(piece: dict, proposal: dict | None) -> list[tuple[str, str]]:
    """Return what is told of a stone below its grade, name and words, in the order of telling; a line without a name
    goes on with the one before."""
    told = [("scene", words.scene_words(piece["scene"]))]
    told += [
        ("" if i else "colour", words.share_words(*item))
        for i, item in enumerate(piece["shares"].items())
    ]
    told += [
        ("glare", words.glare_words(piece["glare"])),
        ("bands", words.bands_words(piece["banding"])),
        ("lines", words.lines_words(piece["cracks"], piece["state"]["value"])),
        *(
            ("" if i else "sound", text)
            for i, text in enumerate(
                words.sound_words(piece["sound"]) if piece.get("sound") else ()
            )
        ),
        ("size", words.size_words(piece)),
    ]
    if proposal:
        others = (
            ("may be", headline.set_words(proposal)),
            ("sell as", proposal["sell_as"]),
            (WOULD_LIFT, proposal.get("what_if")),
            ("rules", headline.rules_words(proposal)),
            ("care", headline.line_care_words(piece)),
        )
        told += [(name, text) for name, text in others if text]
    told.append(("photo", f"{piece['verdict']}, {words.state_words(piece['state'])}"))
    # A number and its sign stay on one line.
    return [(name, text.replace(" %", "\u00a0%")) for name, text in told]


def short_words(piece: dict) -> list[str]:
    """Return what stands below a small picture: scene and lines seen, on all faces of a piece, or what the photo
    lacks."""
    whole = piece.get("piece")
    if headline.proposal_of(piece) is None:
        again = [warning["text"] for warning in piece["warnings"][:1]]
        return [one_piece.from_words(whole)] if whole else again
    scene = (whole or piece)["scene"]["score"]
    if whole:
        seen = sum(face["cracks"] + face["uncertain"] for face in whole["faces"])
    else:
        kinds = [line["class"] for line in piece["cracks"]["lines"]]
        seen = kinds.count("crack") + kinds.count("uncertain")
    lines = words.counted(seen, "line") + " seen" if seen else "no line seen"
    return ([] if scene is None else [f"scene {scene}"]) + [lines]
