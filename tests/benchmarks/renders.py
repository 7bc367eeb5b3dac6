"""Rendered photos in the style that is kept back from learning, with their exact truth."""

import numpy as np
from labelled import Labelled, PieceTruth

from grader.render import HELD_OUT, render_photo
from grader.render.truth import CRACK, FAINT

#: Geometric mean of the sides of a photo.
SIDE_PX = (700, 1300)


def held_out_render(seed: int, number: int) -> Labelled:
    """Return the rendered photo of that seed and number, in the style kept back from learning."""
    rng = np.random.default_rng([seed, number])
    side, wide = rng.integers(*SIDE_PX), rng.choice([0.75, 1.0, 4 / 3])
    drawn = render_photo(
        rng, HELD_OUT, width_px=round(side * wide**0.5), height_px=round(side / wide**0.5)
    )
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
