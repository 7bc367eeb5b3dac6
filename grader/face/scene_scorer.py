"""The scene within a placed template, for the cut plan."""

import numpy as np
from numpy.typing import NDArray

from grader.face.cutplan import Oval, Scorer
from grader.face.measurements import Banding, Regions
from grader.face.scene import ORDER, _contrasts, _parts, _ramp, scene_score
from grader.measures import UNREADABLE
from grader.profile import Profile

#: Rows and columns in which a template is looked at.
ROWS, COLUMNS = 18, 24


def scene_scorer(regions: Regions, banding: Banding, oval: Oval, profile: Profile) -> Scorer:
    """Return the scorer of a face: the scene of what a template of that size shows, lines left out.

    Lines are no part of it: the plan keeps clear of them.
    """
    y, x = np.meshgrid(_middles(ROWS), _middles(COLUMNS), indexing="ij")
    within = x**2 + y**2 <= 1
    contrasts = _contrasts(regions, profile)
    continuity = _ramp(banding.continuity, (0.0, 0.7), (0.0, 1.0))
    reading_of = np.zeros(256, np.uint8)
    for code, colour in enumerate(profile.colours, start=1):
        if colour.reads_as in ORDER:
            reading_of[code] = ORDER.index(colour.reads_as) + 1
    reading_of[UNREADABLE] = 0

    def score(poses: NDArray) -> NDArray[np.float64]:
        return np.array([_score(*pose) for pose in np.asarray(poses, float)])

    def _score(centre_x: float, centre_y: float, turn_deg: float) -> float:
        cos, sin = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
        along, down = x * oval.long_px / 2, y * oval.short_px / 2
        col = (centre_x + along * cos + down * sin).astype(int)
        row = (centre_y - along * sin + down * cos).astype(int)
        h, w = regions.codes.shape
        codes = regions.codes[row.clip(0, h - 1), col.clip(0, w - 1)]
        seen = np.where(within, reading_of[codes], 0).astype(np.uint8)
        if not seen.any():
            return 0.0
        return scene_score(
            {**_parts(seen, contrasts), "continuity": continuity}, profile.scene_weights
        )

    return score


def _middles(count: int) -> NDArray[np.float64]:
    return (np.arange(count) + 0.5) / count * 2 - 1
