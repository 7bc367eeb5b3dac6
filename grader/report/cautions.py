"""What every seller is told beside the grades: short lines, each with where it comes from."""

from dataclasses import dataclass
from decimal import Decimal

from grader.trade.parcel import lift


@dataclass(frozen=True)
class Caution:
    """One line of caution and its source, empty where it needs none."""

    text: str
    source: str = ""


#: Limits are text with a source, not advice that the tool computes. What is from memory says so.
CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "Sawing, grinding and breaking this stone makes silica dust and sharp chips: "
        "treat it as nearly all silica, work wet with extraction, fitted mask and eye protection, "
        "and wash slurry away before it dries.",
        "HSE HSG201, 2nd ed. 2022; limits: 29 CFR 1910.1053, 50 µg/m³ over 8 h (action level 25), "
        "and 0.1 mg/m³ over 8 h in Great Britain; from memory: silica content, "
        "eye protection (ANSI/ISEA Z87.1, EN ISO 16321)",
    ),
    Caution(
        "Nobody below loose rock or a moving block; "
        "loose ground is taken down or supported before other work.",
        "30 CFR 56.3200, from memory",
    ),
    Caution(
        "Take care in lifting from 9 kg when bent, far out or twisted; two people from "
        "23 kg (51 lb), which is the limit in ideal posture only. That goes for buckets and trays.",
        "NIOSH 94-110, rev. 2021; 9.9 kg by its equation for such a lift, rounded down",
    ),
    Caution(
        "Have an unknown blue fibrous stone identified before it is cut: it may be asbestos.",
        "from memory",
    ),
    Caution(
        "A photo shows neither hidden cracks nor what holds a block: "
        "where no line is seen, that is all it means.",
    ),
    Caution(
        "Check by hand what you sell as sound: strong light from the side, a fingernail across each line, "
        "and wet the face and watch it dry, since an open crack stays dark longest. "
        "How it rings when tapped is a hint, no more.",
        "common practice, no source",
    ),
    Caution("Local rules and licensed practice come first."),
)

#: What is told beside a plan for the saw, before the cautions that every seller is told.
SAW_CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "At the saw: guard on, the stone held in the vice and never by fingers near the blade, "
        "no gloves or loose sleeves at turning parts, hearing and eyes protected.",
        "our common practice, no source",
    ),
    Caution(
        "Water and mains do not mix: saw, lamp, leads and plugs stay out of spray and wet hands, "
        "on a supply with a residual-current breaker; pull the plug before you reach in.",
        "our common practice, no source",
    ),
    Caution(
        "Never leave a running saw alone. Its mist is not for lungs, its noise not for bare ears: lid down, "
        "air moving, hearing protected, and a rest for hands that tingle.",
        "common practice, no source",
    ),
    Caution(
        "Slurry goes into a settling tub, never down a drain or a stream, and is scraped out while it is wet.",
        "common practice, no source",
    ),
)
#: The same in one line, for the foot of a drawing.
SAW_LINE = (
    "Silica dust: saw wet, extraction, fitted mask. Guard on, stone in the vice. Mains away from "
    "water, residual-current breaker. Local rules and licensed practice come first."
)

#: For whoever is about to break a stone by hand.
BREAK_CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "Before you break it: eye protection for you and for everyone who stands near, a fitted mask, "
        "gloves on the hand that holds; no children near, nobody below.",
        "our common practice, no source; eye protection: ANSI/ISEA Z87.1, EN ISO 16321, from memory",
    ),
    Caution(
        "Keep the stone from rolling, on sand or in a bag; fingers stay out of the gap and out of the line of the "
        "blow; a hammer made for stone, no burred chisel.",
        "our common practice, no source",
    ),
    Caution(
        "Breaking makes silica dust and flying chips: wet the stone, stand upwind, and never sweep it up dry.",
        "HSE HSG201, 2nd ed. 2022; 29 CFR 1910.1053; wetting before a blow is our common practice",
    ),
    Caution(
        "A line that closes on itself may not part at all, and more may come away than you planned.",
        "our common practice, no source",
    ),
)
#: For whoever photographs a face wet and then dried, or cleans it for that.
DRYING_CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "Dry stone at room temperature, never with a flame, a heat gun or an oven: it can burst, "
        "and heat opens cracks.",
        "common practice, no source",
    ),
    Caution(
        "Wet hands and wet stone stay away from lamps, leads and plugs.",
        "common practice, no source",
    ),
    Caution(
        "We advise no rust remover. Oxalic and other acids are poison and burn: whoever uses one needs gloves, goggles "
        "and moving air, never mixes it with bleach, rinses long before sawing, and takes the waste where local rules "
        "say.",
        "common practice, no source; acid and bleach give off chlorine, from memory",
    ),
)
#: For whoever lifts so much.
LIFT_CARE = Caution(
    "Lift with care from 9 kg (20 lb) when bent, far out or twisted; less if you do it often.",
    "NIOSH 94-110, rev. 2021; 9.9 kg by its equation for such a lift, rounded down",
)
LIFT_TWO = Caution(
    "From 23 kg (51 lb) never lift alone: a barrow, or more people.",
    "NIOSH 94-110, rev. 2021; its load constant",
)
#: For whoever sets out to dig.
TRIP_CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "Before you set out: the owner's word or a permit, and what may be taken in a day; "
        "somebody at home knows where you are and when you come back.",
        "our common practice; on US public land 43 CFR 8365.1-5",
    ),
    CAUTIONS[1],
    Caution(
        "No digging under an overhang or into a trench deeper than you can step out of without shoring.",
        "29 CFR 1926.652 begins at 5 ft (1.5 m), from memory",
    ),
)
#: For whoever buys a stone and works it.
LISTING_CAUTIONS: tuple[Caution, ...] = (CAUTIONS[0], CAUTIONS[3], CAUTIONS[4])
#: For whoever sells one.
SELL_CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "Tell every treatment: resin, dye, oil, backing, filling. Where weight sets the price, the scale may have to "
        "be one approved for trade.",
        "NIST Handbook 44 for scales; telling treatments is common practice, no source",
    ),
)
#: Behind all of them.
LOCAL_RULES = CAUTIONS[-1]

#: Where nobody is about to act, all of them in one line; and with where they stand in full.
CARE_SHORT = "Silica dust, flying chips, heavy stone, cracks that no photo shows"
CARE_LINE = f"{CARE_SHORT}: see grader care."


def caution_lines(cautions: tuple[Caution, ...]) -> list[str]:
    """Return cautions with their sources, a line each, the local rules last."""
    return [
        f"{one.text} [{one.source}]" if one.source else one.text for one in (*cautions, LOCAL_RULES)
    ]


def care_text() -> str:
    """Return all cautions with their sources, by what somebody is about to do, the local rules last."""
    parts = {
        "With every stone": CAUTIONS[:-1],
        "Before you dig": (TRIP_CAUTIONS[0], *TRIP_CAUTIONS[2:]),
        "Before you lift": (LIFT_TWO,),
        "Before you break a stone": BREAK_CAUTIONS,
        "At the saw": SAW_CAUTIONS,
        "Wet, dry and clean": DRYING_CAUTIONS,
    }
    lines = []
    for head, cautions in parts.items():
        lines += [head]
        for one in cautions:
            lines += [f"- {one.text}"] + ([f"  [{one.source}]"] if one.source else [])
        lines += [""]
    return "\n".join([*lines, LOCAL_RULES.text])


def lift_lines(grams: Decimal) -> list[str]:
    """Return what is told of a weight that somebody lifts, nothing of a light one."""
    told = {"two": (LIFT_TWO,), "care": (LIFT_CARE,)}.get(lift(grams))
    return caution_lines(told) if told else []
