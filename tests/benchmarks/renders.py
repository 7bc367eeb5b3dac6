"""Rendered photos in the style that is kept back from learning, with their exact truth."""

import numpy as np
from labelled import Labelled, PieceTruth

from grader.render import HELD_OUT, Rendered, Style, render_photo
from grader.render.truth import CRACK, FAINT

#: Geometric mean of the sides of a photo.
SIDE_PX = (700, 1300)


def drawn_photo(seed: int, number: int, style: Style = HELD_OUT) -> Rendered:
    """Return the rendered photo of that seed and number; by default in the style kept back from learning."""
    rng = np.random.default_rng([seed, number])
    side, wide = rng.integers(*SIDE_PX), rng.choice([0.75, 1.0, 4 / 3])
    return render_photo(
        rng, style, width_px=round(side * wide**0.5), height_px=round(side / wide**0.5)
    )


def held_out_render(seed: int, number: int) -> Labelled:
    """Return the photo of that seed and number, in the style kept back from learning, with its labels."""
    drawn = drawn_photo(seed, number)
    by_piece = {}
    for stone in drawn.stones:
        shares = np.array([stone.shares[name] for name in ("blue", "white", "host")])
        by_piece[stone.id] = PieceTruth(
            shares=shares,
            low=shares,
            high=shares,
            direction_deg=stone.bands.direction_deg,
            continuity=stone.bands.continuity,
            kind=stone.kind,
            state=stone.state,
            long_side_px=max(stone.box[2:]),
        )
    return Labelled(
        name=f"render {seed}-{number}",
        rgb=drawn.rgb,
        regions=drawn.regions,
        pieces=drawn.pieces,
        cracks=drawn.cracks == CRACK,
        faint=drawn.cracks == FAINT,
        by_piece=by_piece,
        mm_per_px=drawn.mm_per_px,
    )
