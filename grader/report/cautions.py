"""What every seller is told beside the grades: short lines, each with where it comes from."""

from dataclasses import dataclass


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
        "Take care in lifting from 10 kg when bent, far out or twisted; two people from "
        "23 kg (51 lb), which is the limit in ideal posture only. That goes for buckets and trays.",
        "NIOSH 94-110, rev. 2021; the 10 kg is worked out from its equation",
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
)
#: The same in one line, for the foot of a drawing.
SAW_LINE = (
    "Silica dust: saw wet, extraction, fitted mask. Guard on, stone in the vice. Mains away from "
    "water, residual-current breaker. Local rules and licensed practice come first."
)
