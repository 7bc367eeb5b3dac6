"""What is measured on one face, as frozen records. Lengths are in px of the working image; mm only with a scale."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.face.outline import rim
from grader.measures import UNREADABLE, Interval

#: A line's width is reported from this many working px on: what is narrower is the camera's own blur.
WIDTH_FROM_PX = 3.0
#: From this chance to part on a contact is drawn, and templates keep clear of it: most are sound.
CONTACT_SHOWN = 0.1
#: A picture that is worth so many points less for a line is told as crossed.
CROSSED_BY = 5.0


@dataclass(frozen=True)
class Share(Interval):
    """A share of the readable face (0 to 1) with its 95 % interval for the whole face.

    doubt : mean chance, 0 to 1, that a pixel's yes or no to this class is wrong; what the interval is made from.
    """

    doubt: float = 0.0


@dataclass(frozen=True)
class RegionColour:
    """Median L*, C*ab, h_ab (degrees) of a region, and its spread: the median CIE76 distance from that colour."""

    L: float
    C: float
    h: float
    spread: float

    @property
    def lab(self) -> NDArray:
        """The same colour as L*, a*, b*."""
        hue = np.radians(self.h)
        return np.array([self.L, self.C * np.cos(hue), self.C * np.sin(hue)])


@dataclass(frozen=True)
class Regions:
    """Colour regions of one face.

    Attributes
    ----------
    codes : ndarray of shape (h, w), uint8
        0 background, 1 to 8 the profile's classes in order, 9 unreadable (glare).
    shares : by class name; values sum to 1.
    kinds : by class name, then kind name: share of the readable face.
    colour : by class name; ``None`` where the class holds no pixel.
    glare_share : unreadable share of the whole face.
    """

    codes: NDArray
    shares: dict[str, Share]
    kinds: dict[str, dict[str, float]]
    colour: dict[str, RegionColour | None]
    glare_share: float


@dataclass(frozen=True)
class Banding:
    """Bands of the face; every number is ``None`` where the face shows no bands.

    continuity, fill_share : 0 to 1.   bands : count along the line square to them.
    direction_deg : 0 <= d < 180, 0 level, counter-clockwise as seen on the upright photo.
    thickness_px : mean along the runs, working px.   contrast_de00 : CIEDE2000 between blue and white.
    confidence : coherence of the structure tensor, 0 to 1.
    thickness_spread_px : standard deviation along the runs, working px.
    direction_spread_deg : axial standard deviation of the runs, from 0.
    border_width_px : 10 to 90 % of the way from blue to white, working px: how sharp a border is.
    waviness : root mean square of the borders' departure from their own course, band thicknesses.
    offsets : bands offset by faults, counted once for each fault.   throw_px : median, working px.
    borders : (n, 2) x, y in working px each, where blue meets white.
    offset_places : x, y, throw and thickness of the band there, working px.   faults : (n, 2) x, y,
    the bit of a fault within each of these bands.
    """

    continuity: float | None = None
    fill_share: float | None = None
    bands: int | None = None
    direction_deg: float | None = None
    thickness_px: float | None = None
    contrast_de00: float | None = None
    confidence: float | None = None
    thickness_spread_px: float | None = None
    direction_spread_deg: float | None = None
    border_width_px: float | None = None
    waviness: float | None = None
    offsets: int | None = None
    throw_px: float | None = None
    borders: tuple[NDArray, ...] = ()
    offset_places: tuple[tuple[float, float, float, float], ...] = ()
    faults: tuple[NDArray, ...] = ()


@dataclass(frozen=True)
class Line:
    """One line seen on the face.

    points : (n, 2) x, y in working px, n >= 2; px (0, 0) spans 0 to 1.   length_px : along them.
    width_px : at half of its depth; reported only from ``WIDTH_FROM_PX`` (``reported_width_px``).
    kind : "crack", "uncertain", "pattern line" or "contact" (a border between pattern and host).
    probability : that it is a crack, 0 to 1.   contact_chance : of a contact, to part a setting.
    greatest_width_px : at its widest, ``None`` where it is too narrow.
    ends : "inside", "reaches the outline" or "crosses the face".
    source : "photo", or "seller" where the seller's word stands.
    drying_ratio : how much likelier what a wet and a dry photo show is for an open crack than for any other line, above
    0; 1 where they say nothing, ``None`` without such a pair.
    pattern_chance : that it is a pattern line, 0 to 1; what is left of 1 is that it is no line of the stone.
    """

    points: NDArray
    length_px: float
    width_px: float
    kind: str
    probability: float
    contact_chance: float = 0.0
    greatest_width_px: float | None = None
    ends: str = "inside"
    source: str = "photo"
    drying_ratio: float | None = None
    pattern_chance: float = 0.0

    @property
    def reported_width_px(self) -> float | None:
        """Width, px, ``None`` where it is too narrow to be known."""
        return self.width_px if self.width_px >= WIDTH_FROM_PX else None

    @property
    def parting_chance(self) -> float:
        """Chance, 0 to 1, that the stone parts along the line; a pattern line does not."""
        if self.kind == "pattern line":
            return 0.0
        return max(self.probability, self.contact_chance)

    @property
    def may_part(self) -> bool:
        """Whether it is drawn and templates keep clear of it: a crack, what may be one, or a contact that may part."""
        return self.kind in ("crack", "uncertain") or self.contact_chance >= CONTACT_SHOWN


@dataclass(frozen=True)
class ClearFace:
    """Share of the face, 0 to 1, that an oval of (long, short) mm can cover with no line seen in it.

    share : no crack, contact or doubtful line in it.   high : were every doubtful line none.
    """

    oval_mm: tuple[float, float]
    share: float
    high: float


@dataclass(frozen=True)
class SoundStone:
    """The face as its lines would part it.

    Attributes
    ----------
    labels : ndarray of shape (h, w), uint8
        0 off the stone, 1 the largest part, 2 the next and so on, by the lines that part it likelier than not.
    parts : shares of the face, largest first; crumbs are left out.
    largest : expected share of the largest part; low if all doubtful lines part (1 in 10), high if none does.
    clear : by oval, smallest first; empty without scale.
    usable : the same of all parts that take the smallest oval with no line seen in it; ``None`` without scale.
    """

    labels: NDArray
    parts: tuple[float, ...]
    largest: Interval
    clear: tuple[ClearFace, ...] = ()
    usable: Interval | None = None


@dataclass(frozen=True)
class Placement:
    """A template laid on the face, and how much of a picture it shows.

    template : as people say it, "40x30 oval".   shape : "oval" (a round too) or "rectangle".
    kind : "landscape" (sky above water above shore), "stream" (a bright seam across the host) or "surf" (white and
    blue that run side by side).
    centre_px : x, y, working px.   turn_deg : direction of the picture's right-hand side in the
    photo, 0 level, counter-clockwise, 0 <= d < 360; turned clockwise by it the picture is upright.
    size_px : width and height, working px.   size_mm : the same in mm, ``None`` without scale.
    score : 0 to 100.   low, high : of the same template slipped by 2 % of its width and 3 degrees.
    parts : by name, 0 to 1, ``None`` where a part is not known.
    shore_share : mean thickness of the host below (of a stream: beside), share of the height;
    shore_mm the same in mm; shore_evenness : 0 to 1.
    line_ratio : length of the lines in it, cracks in full and doubtful ones half / its width.
    """

    template: str
    shape: str
    kind: str
    centre_px: tuple[float, float]
    turn_deg: float
    size_px: tuple[float, float]
    size_mm: tuple[float, float] | None
    score: float
    low: float
    high: float
    parts: dict[str, float | None]
    shore_share: float
    shore_mm: float | None
    shore_evenness: float
    line_ratio: float = 0.0

    @property
    def axes(self) -> NDArray:
        """Unit vectors x, y in the photo, (2, 2): to the right in the picture, and down in it."""
        c, s = np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))
        return np.array([[c, -s], [s, c]])

    def outline_px(self, points: int = 64) -> NDArray:
        """Return (points, 2) x, y along the template's rim, working px."""
        return self.centre_px + rim(self.shape, self.size_px, points) @ self.axes


@dataclass(frozen=True)
class Scene:
    """The picture in the face.

    parts : part scores of the best place, 0 to 1; ``None`` where a part is not known.
    best, runner_up : ``None`` where there is none; the runner-up shows really another picture.
    score : 0 to 100, of the face: that of the best place, or, where a line crosses a larger picture, what beside the
    line is left of that one.   whole_score : were no line seen.   ``None`` where no place was looked for.
    """

    parts: dict[str, float | None]
    best: Placement | None = None
    runner_up: Placement | None = None
    score: float | None = None
    whole_score: float | None = None

    @property
    def crossed(self) -> bool:
        """Whether a line takes something of the picture."""
        return self.whole_score is not None and self.whole_score > self.score + CROSSED_BY


@dataclass(frozen=True)
class Room:
    """What templates with no line seen in them find on a face.

    pattern_share, colour_share : of the face, 0 to 1, covered by rounds as wide as the smallest oval is high that show
    pattern, or hold blue alone.   pattern_contrast : CIEDE2000 between two zones of the pattern.
    """

    pattern_share: float
    colour_share: float
    pattern_contrast: float


@dataclass(frozen=True)
class Measurements:
    """All that is measured on one face, without opinion."""

    regions: Regions
    banding: Banding
    lines: tuple[Line, ...]
    scene: Scene
    face_area_px: int
    px_per_photo_px: float
    mm_per_px: float | None
    sound: SoundStone | None = None
    room: Room | None = None

    @property
    def glare(self) -> NDArray:
        """Unreadable pixels, bool, shape (h, w)."""
        return self.regions.codes == UNREADABLE

    @property
    def area_cm2(self) -> float | None:
        """Area inside the outline, ``None`` without scale."""
        return None if self.mm_per_px is None else self.face_area_px * self.mm_per_px**2 / 100

    @property
    def cracks(self) -> tuple[Line, ...]:
        """The lines of class crack."""
        return tuple(line for line in self.lines if line.kind == "crack")
