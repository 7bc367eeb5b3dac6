"""Which answer a line gets: crack, uncertain, pattern line, or that it is not told.

A line's chances are a multinomial logistic model of its evidence, read from ``lines.json``: learned on renders of the
training style, made to hold (one scale, two shifts) on renders whose lines are of other kinds
(tests/benchmarks/line_naming.py).
"""

import json
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from grader.errors import ModelError
from grader.face.lines.evidence import NAMES
from grader.photo.net import softmax, starter_folder

#: What a missed crack costs, and a line told that is none: from their share on a line is at least uncertain.
MISS, FALSE_ALARM = 1.0, 1.0
#: From this chance on it is called a crack. Our setting.
CRACK = 0.65
#: A crack called healed is the dear mistake: a pattern line is likelier than a crack by this factor,
HEALED = 2.5
#: and likely in itself. Our settings, as the next ones; what they cost: tests/benchmarks/notes/024.
PATTERN = 0.4
#: What is a line with this chance, and is not surely a pattern line, is uncertain.
SURELY_A_LINE = 0.9
#: An eye sees a line where it stands out from both sides (``evidence.SEEN_L``) on this share of its length.
SEEN_SHARE = 0.5
#: And it stands out by so much L* in the middle.
SEEN_L = 3.0
#: What runs along the rim with this share of its length is where the face turns away.
RIM_SHARE = 0.5
#: What has glare beside it, and one bright side, on this much of its length is the edge of the glare.
GLARE_SHARE = 0.5
#: Evidence is held within so many spreads of its mean: beyond lies nothing that was learned.
MOST_SPREADS = 4.0


@dataclass(frozen=True)
class LineModel:
    """Weights over ``evidence.NAMES``.

    mean, spread : (n,), by which the evidence is put on one footing.
    weights : (2, n), of crack and pattern line against no line.   first : (2,), where all evidence is at its mean.
    """

    mean: NDArray[np.float64]
    spread: NDArray[np.float64]
    weights: NDArray[np.float64]
    first: NDArray[np.float64]

    def chances(self, table: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the chances (m, 2) of a crack and of a pattern line for a table of evidence (m, n)."""
        footing = np.clip((table - self.mean) / self.spread, -MOST_SPREADS, MOST_SPREADS)
        scores = footing @ self.weights.T + self.first
        return softmax(np.column_stack([np.zeros(len(scores)), scores]))[:, 1:]


@cache
def line_model() -> LineModel:
    """Return the model that ships.

    Raises
    ------
    ModelError
        Its file is missing, damaged, or of other evidence than this version reads.
    """
    path = starter_folder() / "lines.json"
    try:
        read = json.loads(path.read_text("utf-8"))
        rows = {row["evidence"]: row for row in read["evidence"]}
        columns = [
            [rows[name][key] for name in NAMES] for key in ("mean", "spread", "crack", "pattern")
        ]
        mean, spread, crack, pattern = (np.array(column, float) for column in columns)
        first = np.array([read["crack"], read["pattern"]], float)
    except (OSError, ValueError, KeyError, TypeError) as err:
        raise ModelError(
            f"{path.name}: the weights are missing or damaged; install the tool again, "
            "or rebuild them with tests/benchmarks/line_naming.py"
        ) from err
    return LineModel(mean, spread, np.stack([crack, pattern]), first)


def seen(table: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return which lines of a table of evidence an eye sees, and no turning rim and no edge of glare makes, (m,)."""
    share, contrast, rim, glare, one_sided = (
        table[:, NAMES.index(n)] for n in ("seen", "contrast", "along_rim", "by_glare", "one_sided")
    )
    edge = np.minimum(glare, one_sided) >= GLARE_SHARE
    return (share >= SEEN_SHARE) & (contrast >= SEEN_L) & (rim < RIM_SHARE) & ~edge


def kind_at(crack: float, pattern: float) -> str | None:
    """Return the answer for a line of those chances, 0 to 1; ``None`` where it is not told."""
    if crack >= CRACK:
        return "crack"
    if pattern >= PATTERN and pattern >= HEALED * crack:
        return "pattern line"
    if crack >= FALSE_ALARM / (FALSE_ALARM + MISS) or crack + pattern >= SURELY_A_LINE:
        return "uncertain"
    return None
