"""What the grader judges by: named numbers of one face, each declared once."""

from collections.abc import Iterable
from dataclasses import dataclass

from grader.face.measurements import Measurements, RegionColour, Regions
from grader.face.scene.score import scene_score
from grader.grading.features.rules import Features, ladder_position
from grader.measures import MEASURES, Measure
from grader.profile import SCENE_PARTS, Profile


@dataclass(frozen=True)
class Feature:
    """A measure that a grade may hang on.

    monotone_sign : +1 where more of it never lowers the grade, -1 where less never does, 0 where that is open.
    """

    measure: Measure
    monotone_sign: int

    @property
    def name(self) -> str:
        return self.measure.name

    @property
    def unit(self) -> str:
        return self.measure.unit


def _part(part: str) -> Measure:
    return Measure(f"scene_{part}", "share", 0, 1, f"part score of the scene: {part}")


_SCENE_WRITTEN = Measure(
    "scene_written", "score", 0, 100, "scene score by the profile's weights, as they are written"
)
_PATTERN_SHARE = Measure("pattern_share", "share", 0, 1, "blue and white, of the readable face")
_LINE_DENSITY = Measure(
    "line_density", "", 0, None, "length of all lines, each by its chance to be a crack / root area"
)
_RULES_GRADE = Measure("rules_grade", "grades", 0, None, "place on the ladder by the rules")
_RULES_GRADE_WITHOUT_LINES = Measure(
    "rules_grade_without_lines",
    "grades",
    0,
    None,
    "place on the ladder by the rules, were no line seen",
)

#: For the place without lines: of all measures, lines are the least sure.
_NO_LINES = {"crack_count": 0.0, "crack_density": 0.0, "picture_lines": 0.0}

FEATURES: dict[str, Feature] = {
    feature.name: feature
    for feature in (
        Feature(_PATTERN_SHARE, +1),
        Feature(MEASURES["blue_share"], +1),
        Feature(MEASURES["white_share"], 0),
        Feature(MEASURES["host_share"], -1),
        Feature(MEASURES["rusty_share"], 0),
        Feature(MEASURES["grey_share"], 0),
        Feature(MEASURES["glare_share"], 0),
        Feature(MEASURES["blue_chroma"], +1),
        Feature(MEASURES["white_lightness"], 0),
        Feature(MEASURES["band_contrast"], +1),
        Feature(MEASURES["continuity"], +1),
        Feature(MEASURES["fill_share"], +1),
        Feature(MEASURES["bands"], 0),
        Feature(MEASURES["crack_count"], -1),
        Feature(MEASURES["crack_density"], -1),
        Feature(_LINE_DENSITY, -1),
        *(Feature(_part(part), +1) for part in SCENE_PARTS),
        Feature(_SCENE_WRITTEN, +1),
        Feature(MEASURES["scene_score"], +1),
        Feature(MEASURES["scene_without_lines"], +1),
        Feature(MEASURES["pattern_contrast"], +1),
        Feature(MEASURES["pattern_room_share"], +1),
        Feature(MEASURES["colour_room_share"], +1),
        Feature(MEASURES["picture_lines"], -1),
        Feature(MEASURES["picture_short_mm"], +1),
        Feature(MEASURES["area_cm2"], +1),
        Feature(_RULES_GRADE, +1),
        Feature(_RULES_GRADE_WITHOUT_LINES, +1),
    )
}  # fmt: skip

#: What the grade head learns from. Host is what pattern leaves; the scene parts speak through the
#: scene score; the size has a class of its own and speaks only where a rule names it.
GRADE_FEATURES = (
    "rules_grade", "rules_grade_without_lines", "pattern_share", "blue_share", "white_share",
    "rusty_share", "blue_chroma", "white_lightness", "band_contrast", "continuity", "fill_share",
    "crack_count", "crack_density", "line_density", "scene_score", "pattern_contrast", "pattern_room_share",
    "colour_room_share", "picture_lines",
)  # fmt: skip

#: What the scene head learns from.
SCENE_FEATURES = (
    *(f"scene_{part}" for part in SCENE_PARTS),
    "blue_share", "white_share", "band_contrast", "continuity", "fill_share", "crack_density",
    "scene_written",
)  # fmt: skip


def features(measurements: Measurements, profile: Profile) -> dict[str, float | None]:
    """Return every declared feature of one face, by name and in declared order; ``None`` where it
    cannot be told.

    Whatever a profile calls its classes, those that read as water give ``blue_*``, sky ``white_*``,
    shore ``host_*``.
    ``scene_score`` is that by the profile's weights, as ``scene_written`` is; :func:`with_scene` puts the scene head's
    number in its place.
    """
    regions, banding, scene = measurements.regions, measurements.banding, measurements.scene
    water, sky, shore = (_classes(profile, reading) for reading in ("water", "sky", "shore"))
    blue, white = _share(regions, water), _share(regions, sky)
    rusty, grey = _kinds(regions, profile, shore)
    blue_colour, white_colour = _colour(regions, water), _colour(regions, sky)
    written = scene.score
    if written is None:
        written = scene_score(scene.parts, profile.scene_weights)
    values = {
        "pattern_share": blue + white,
        "blue_share": blue,
        "white_share": white,
        "host_share": _share(regions, shore),
        "rusty_share": rusty,
        "grey_share": grey,
        "glare_share": regions.glare_share,
        "blue_chroma": blue_colour and blue_colour.C,
        "white_lightness": white_colour and white_colour.L,
        "band_contrast": banding.contrast_de00,
        "continuity": banding.continuity,
        "fill_share": banding.fill_share,
        "bands": banding.bands,
        **line_features(measurements.lines, measurements.face_area_px),
        **{f"scene_{part}": scene.parts.get(part) for part in SCENE_PARTS},
        "scene_written": written,
        "area_cm2": measurements.area_cm2,
        "scene_without_lines": written if scene.whole_score is None else scene.whole_score,
        **_room(measurements),
    }
    floats = {name: None if value is None else float(value) for name, value in values.items()}
    return with_scene(floats, written, profile)


def line_features(lines: Iterable, face_area_px: int) -> dict[str, float]:
    """Return the features of lines that have a kind, a length in working px and a chance to be a crack."""
    lines = tuple(lines)
    side_px = max(face_area_px, 1) ** 0.5
    cracks = [line for line in lines if line.kind == "crack"]
    return {
        "crack_count": len(cracks),
        "crack_density": sum(line.length_px for line in cracks) / side_px,
        "line_density": sum(line.length_px * line.probability for line in lines) / side_px,
    }


def with_scene(values: Features, scene_score: float, profile: Profile) -> dict[str, float | None]:
    """Return the features with that scene score, and the rules' position that follows from it."""
    return with_values(values, profile, scene_score=float(scene_score))


def with_values(
    values: Features, profile: Profile, **changed: float | None
) -> dict[str, float | None]:
    """Return the features with some of them changed, and the rules' position that follows from
    them."""
    new = {**values, **changed}
    new["rules_grade"] = ladder_position(new, profile)
    new["rules_grade_without_lines"] = ladder_position(_without_lines(new), profile)
    return {name: new[name] for name in FEATURES}


def _without_lines(values: Features) -> dict[str, float | None]:
    """The features as they would be were no line seen, as far as that is known."""
    scenes = (values.get(name) or 0.0 for name in ("scene_score", "scene_without_lines"))
    return {**values, **_NO_LINES, "scene_score": max(scenes)}


def _room(measurements: Measurements) -> dict[str, float | None]:
    room, best = measurements.room, measurements.scene.best
    return {
        "pattern_contrast": room and room.pattern_contrast,
        "pattern_room_share": room and room.pattern_share,
        "colour_room_share": room and room.colour_share,
        "picture_lines": best.line_ratio if best else 0.0,
        "picture_short_mm": best and best.size_mm and min(best.size_mm),
    }


def _classes(profile: Profile, reading: str) -> list[str]:
    return [colour.name for colour in profile.colours if colour.reads_as == reading]


def _share(regions: Regions, names: Iterable[str]) -> float:
    return sum(regions.shares[name].value for name in names)


def _colour(regions: Regions, names: list[str]) -> RegionColour | None:
    """The colour of the largest of these classes that holds a pixel."""
    present = [name for name in names if regions.colour.get(name) is not None]
    return (
        regions.colour[max(present, key=lambda name: regions.shares[name].value)]
        if present
        else None
    )


def _kinds(
    regions: Regions, profile: Profile, names: list[str]
) -> tuple[float | None, float | None]:
    """Shares of the more and the less coloured kind of host; ``None`` where the profile tells no
    kinds apart."""
    with_kinds = [c for c in profile.colours if c.name in names and c.kinds]
    if not with_kinds:
        return None, None
    first, second = (sum(regions.kinds[c.name][c.kinds[i]] for c in with_kinds) for i in (0, 1))
    return first, second
