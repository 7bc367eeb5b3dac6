"""What a proposal is made of: a few plain numbers of one measured face, kept so that no picture is opened again."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Literal

import numpy as np

from grader.face.lines.sound import sound_stone
from grader.face.measurements import Line, Measurements
from grader.grading.features.features import features
from grader.grading.features.rules import Features
from grader.profile import Profile

#: A line that lies in the middle and is so long, in parts of the face's shorter side, goes across it.
LONG_PART = 0.4


@dataclass(frozen=True)
class Position:
    """In which ninth of a stone something lies: each axis has three thirds."""

    level: Literal["upper", "middle", "lower"]
    side: Literal["left", "middle", "right"]


@dataclass(frozen=True)
class LineFacts:
    """One line as far as a proposal speaks of it.

    kind, length_px, probability : as of :class:`~grader.face.measurements.Line`, working px.
    position : of the middle of the line on the face.
    is_long : whether it takes :data:`LONG_PART` or more of the face's shorter side.
    width_part : its length as a part of the face's width.
    leaves_share : of the face, 0 to 1, what trimming at a crack or doubtful line leaves; ``None`` where it parts
        nothing, and for other lines.
    """

    kind: str
    length_px: float
    probability: float
    position: Position
    is_long: bool
    width_part: float
    leaves_share: float | None = None


@dataclass(frozen=True)
class StoneFacts:
    """What one face is graded by, whichever model is asked.

    features : of :func:`~grader.grading.features.features`, by name.
    lines : in the order of the measured ones.
    face_area_px : working px.
    size_class : ``None`` without scale.
    appearance : of :func:`~grader.grading.models.familiarity.appearance_features`.
    weight_g : of the piece, where the seller says it.
    retake : whether the photo has to be taken again, so that no grade is proposed.
    """

    features: Features
    lines: tuple[LineFacts, ...]
    face_area_px: int
    size_class: str | None
    appearance: Mapping[str, float]
    weight_g: float | None = None
    retake: bool = False

    @property
    def cracks(self) -> tuple[LineFacts, ...]:
        """The lines of class crack."""
        return tuple(line for line in self.lines if line.kind == "crack")

    def as_record(self) -> dict:
        """Return the same as plain data; floats keep every digit."""
        plain = {"features": dict(self.features), "appearance": dict(self.appearance)}
        return asdict(replace(self, **plain))


def facts_from(record: Mapping) -> StoneFacts:
    """Return the facts of a record that :meth:`StoneFacts.as_record` made."""
    lines = tuple(
        LineFacts(**{**line, "position": Position(**line["position"])}) for line in record["lines"]
    )
    return StoneFacts(**{**record, "lines": lines})


def stone_facts(
    measurements: Measurements,
    profile: Profile,
    *,
    size_class: str | None,
    appearance: Mapping[str, float],
    weight_g: float | None = None,
    retake: bool = False,
) -> StoneFacts:
    """Return the facts of one measured face."""
    face = measurements.regions.codes > 0
    rows, columns = np.flatnonzero(face.any(axis=1)), np.flatnonzero(face.any(axis=0))
    # Height, width, top and left of the face in working px.
    extent = np.ptp(rows) + 1, np.ptp(columns) + 1, rows[0], columns[0]
    return StoneFacts(
        features=features(measurements, profile),
        lines=tuple(_line_facts(line, measurements, extent) for line in measurements.lines),
        face_area_px=measurements.face_area_px,
        size_class=size_class,
        appearance=appearance,
        weight_g=weight_g,
        retake=retake,
    )


def _line_facts(line: Line, measurements: Measurements, extent) -> LineFacts:
    doubtful = line.kind in ("crack", "uncertain")
    height, width, top, left = (int(v) for v in extent)
    x, y = line.points[:, 0].mean(), line.points[:, 1].mean()
    return LineFacts(
        kind=line.kind,
        length_px=float(line.length_px),
        probability=float(line.probability),
        position=position_at((x - left) / width, (y - top) / height),
        is_long=bool(line.length_px >= LONG_PART * min(height, width)),
        width_part=float(line.length_px / width),
        leaves_share=_left_by_trimming(measurements, line) if doubtful else None,
    )


def position_at(x: float, y: float) -> Position:
    """Return the ninth of a stone that a point lies in, given as its share of width and height, 0 to 1 from the upper
    left."""
    return Position(
        level="upper" if y < 1 / 3 else "lower" if y > 2 / 3 else "middle",
        side="left" if x < 1 / 3 else "right" if x > 2 / 3 else "middle",
    )


def _left_by_trimming(measurements: Measurements, line: Line) -> float | None:
    """Share of the face on the larger side of a line, were the stone parted there."""
    parting = replace(line, kind="crack", probability=1.0)
    parts = sound_stone(measurements.regions.codes > 0, [parting], None, ()).parts
    return float(parts[0] / sum(parts)) if len(parts) > 1 else None
