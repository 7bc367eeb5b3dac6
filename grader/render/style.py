"""The catalogue of what may be drawn, and the styles: one to learn from, two kept back."""

from dataclasses import dataclass, replace

import numpy as np

#: What occurs in every style, with its weight among its kind.
GROUNDS = {
    "brown felt": 1.2, "black felt": 0.8, "grey felt": 0.8, "white paper": 1.6, "grey paper": 1.2,
    "coloured paper": 1.1, "backdrop": 1.2, "cloth": 1.0, "wood": 1.0, "board": 0.8,
    "tray": 0.8, "rubble": 0.9, "crystals": 0.9, "hand": 0.9,
}  # fmt: skip
LAMPS = {
    "sun": 1.2, "open shade": 1.2, "window": 1.2, "softboxes": 1.2, "warm bulb": 1.0,
    "led": 1.0, "tubes": 0.8, "several": 1.0,
}  # fmt: skip
PIPELINES = {"plain": 1.0, "phone": 1.5, "compact": 1.0, "web": 1.2, "scan-like": 0.6}
PATTERNS = {
    "fine bands": 1.1, "coarse bands": 1.1, "folded": 1.0, "faulted": 1.0, "frothy": 1.2,
    "mottled": 1.0, "veined": 0.9, "matrix": 0.8, "swirled": 0.9, "clouded": 0.8,
    "landscape": 1.3, "seam": 1.0, "patches": 0.8,
    "pale blue": 0.95, "dark blue": 0.9, "all white": 0.95, "all host": 0.8, "grey only": 0.8,
}  # fmt: skip
HOSTS = {"rusty": 1.4, "grey": 1.2, "brown": 1.0, "black-green": 0.9, "cream": 0.8, "speckled": 1.0}
CRACKS = {
    "straight": 1.0, "jagged": 1.2, "branching": 1.0, "curved": 1.0, "along bands": 0.8,
    "across bands": 0.8, "from edge": 1.2, "crossing": 1.0,
}  # fmt: skip
#: How a crack runs and looks where it is drawn as rough stone breaks, beside the plain ones above.
FRACTURES = {
    "straight": 0.6, "jagged": 1.2, "branching": 1.0, "curved": 0.6, "along bands": 0.6, "across bands": 0.8,
    "from edge": 1.2, "crossing": 1.4, "on band border": 1.2, "en echelon": 0.6, "arc": 0.6, "map": 1.2,
}  # fmt: skip
CRACK_LOOKS = {
    "hairline": 1.4, "open": 1.4, "tight": 0.8, "lipped": 1.0, "wet": 0.6, "rust": 0.5, "black": 0.4, "bloom": 0.4,
}  # fmt: skip
#: Lines laid over a face that are none of the stone's.
OVERLAID = {
    "bundle": 1.0, "blade arcs": 0.8, "marker": 0.7, "joint": 0.8, "chisel": 0.8, "fibres": 0.7, "drops": 0.7,
}  # fmt: skip
#: What only the training style draws, so that held-out figures stay comparable: what grew with a stone (rims between
#: lobes, lines along the bands, veins, knotted webs, moss), and cracks beside which the stone is veiled, or that gape.
GROWTHS = ("rim", "band lines", "veins", "knotted web", "moss")
TRAINING_CRACK_LOOKS = ("veiled", "gaping")
KINDS = {"slab": 1.0, "chunk": 1.1, "cab": 1.2}
STATES = {"dry": 1.0, "wet": 1.3, "patchy": 0.45}

#: What only the held-out style draws.
HELD_OUT_GROUNDS = ("sand", "checked cloth")
HELD_OUT_LAMPS = ("ring",)
HELD_OUT_PIPELINES = ("night",)
HELD_OUT_PATTERNS = ("fortification",)
HELD_OUT_HOSTS = ("salmon",)
HELD_OUT_CRACKS = ("stepped",)
HELD_OUT_CRACK_LOOKS = ("green",)
HELD_OUT_OVERLAID = ("text",)
#: What only the style of held-out lines draws: cracks that feather, wave or run along cleavage, that hold polishing
#: powder or oil; and seams that grew as a toothed suture, as rungs of a ladder or as rings.
HELD_OUT_LINES_FRACTURES = ("feathered", "wavy", "cleaved")
HELD_OUT_LINES_LOOKS = ("powdered", "oily")
HELD_OUT_LINES_GROWTHS = ("suture", "ladder", "rings")


@dataclass(frozen=True)
class Style:
    """Which entries of the catalogue a render may draw; ``favoured`` ones come up in about half of the draws."""

    name: str
    grounds: tuple[str, ...]
    lamps: tuple[str, ...]
    pipelines: tuple[str, ...]
    patterns: tuple[str, ...]
    hosts: tuple[str, ...]
    cracks: tuple[str, ...]
    fractures: tuple[str, ...]
    crack_looks: tuple[str, ...]
    overlaid: tuple[str, ...]
    growths: tuple[str, ...] = ()
    favoured: frozenset[str] = frozenset()

    def draw(self, rng: np.random.Generator, kind: str) -> str:
        """Return one entry of ``kind``, the name of a field: "grounds", "lamps", "patterns" and so on."""
        names = getattr(self, kind)
        kept = [n for n in names if n in self.favoured]
        if kept and rng.random() < 0.5:
            return kept[rng.integers(len(kept))]
        return weighted(rng, {n: WEIGHTS[kind].get(n, 1.0) for n in names})


WEIGHTS = {
    "grounds": GROUNDS, "lamps": LAMPS, "pipelines": PIPELINES, "patterns": PATTERNS,
    "hosts": HOSTS, "cracks": CRACKS, "fractures": FRACTURES, "crack_looks": CRACK_LOOKS, "overlaid": OVERLAID,
}  # fmt: skip


def weighted(rng: np.random.Generator, weights: dict[str, float]) -> str:
    """Return one of the names, each with its weight."""
    share = np.array(list(weights.values()))
    return list(weights)[rng.choice(len(share), p=share / share.sum())]


TRAINING = Style(
    "training",
    tuple(GROUNDS),
    tuple(LAMPS),
    tuple(PIPELINES),
    tuple(PATTERNS),
    tuple(HOSTS),
    tuple(CRACKS),
    tuple(FRACTURES),
    tuple(CRACK_LOOKS) + TRAINING_CRACK_LOOKS,
    tuple(OVERLAID),
    GROWTHS,
)
HELD_OUT = Style(
    "held-out",
    tuple(GROUNDS) + HELD_OUT_GROUNDS,
    tuple(LAMPS) + HELD_OUT_LAMPS,
    tuple(PIPELINES) + HELD_OUT_PIPELINES,
    tuple(PATTERNS) + HELD_OUT_PATTERNS,
    tuple(HOSTS) + HELD_OUT_HOSTS,
    tuple(CRACKS) + HELD_OUT_CRACKS,
    tuple(FRACTURES),
    tuple(CRACK_LOOKS) + HELD_OUT_CRACK_LOOKS,
    tuple(OVERLAID) + HELD_OUT_OVERLAID,
    favoured=frozenset(
        HELD_OUT_GROUNDS + HELD_OUT_LAMPS + HELD_OUT_PIPELINES
        + HELD_OUT_PATTERNS + HELD_OUT_HOSTS + HELD_OUT_CRACKS
        + HELD_OUT_CRACK_LOOKS + HELD_OUT_OVERLAID
    ),
)  # fmt: skip
#: Everything but the lines as in training, so that it tells how names of lines hold for lines that nobody fitted to.
HELD_OUT_LINES = replace(
    TRAINING,
    name="held-out lines",
    fractures=tuple(FRACTURES) + HELD_OUT_LINES_FRACTURES,
    crack_looks=tuple(CRACK_LOOKS) + HELD_OUT_LINES_LOOKS,
    growths=HELD_OUT_LINES_GROWTHS,
    favoured=frozenset(HELD_OUT_LINES_FRACTURES + HELD_OUT_LINES_LOOKS),
)
