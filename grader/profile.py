"""A stone kind as data: colour classes, ladder, rules, sizes, limits. Read from TOML, checked once, frozen."""

import hashlib
import json
import os
from dataclasses import asdict, dataclass, fields
from functools import cached_property, lru_cache
from importlib import resources
from pathlib import Path

from grader.checks import (
    MOST_BYTES,
    check_keys,
    check_line,
    check_number,
    check_rows,
    check_table,
    check_values,
    nearest,
    number,
    one_of,
    pair,
    parse_toml,
)
from grader.errors import SettingsError, quoted
from grader.files import regular_bytes

#: Part scores of the scene, in the order in which they are shown.
SCENE_PARTS = (
    "horizon",
    "height",
    "zones",
    "water",
    "contrast",
    "balance",
    "continuity",
    "islands",
    "focal",
    "shore",
    "size",
)
#: Weights of the parts that a profile may leave out: those written before there were such parts do.
LATER_PARTS = {"shore": 10.0, "size": 10.0}
SHAPES = ("oval", "rectangle")
READINGS = ("sky", "water", "shore", "none")
#: Columns of ``results.csv`` that end in _share, _low or _high and are of no class.
_NOT_A_CLASS = frozenset(("pattern", "glare", "fill", "sound", "usable", "clear"))
SELL_AS = ("single", "by weight", "chips", "waste")
#: What a written rule may speak of; ``grading.features`` gives each of them for a measured piece.
RULE_MEASURES = (
    "pattern_share", "blue_share", "white_share", "host_share", "rusty_share", "grey_share", "glare_share",
    "blue_chroma", "white_lightness", "band_contrast", "continuity", "fill_share", "bands",
    "crack_count", "crack_density", "scene_score", "area_cm2",
)  # fmt: skip


@dataclass(frozen=True)
class ColourClass:
    """One colour class: ranges of L* (0-100), C*ab and h_ab (degrees, may pass 360), D65, and what it stands for."""

    name: str
    lightness: tuple[float, float]
    chroma: tuple[float, float]
    hue_deg: tuple[float, float]
    reads_as: str = "none"
    kinds: tuple[str, str] | None = None
    kind_chroma: float = 9.0


@dataclass(frozen=True)
class Rung:
    """One grade of the ladder, with its one-line meaning and the way it is usually sold."""

    grade: str
    meaning: str
    sell_as: str


@dataclass(frozen=True)
class Rule:
    """A grade is reached where every named measure is at least / at most its value."""

    grade: str
    at_least: dict[str, float]
    at_most: dict[str, float]


@dataclass(frozen=True)
class Limits:
    """When a photo is not measured.

    Attributes
    ----------
    glare_share : largest, of the face, 0 to 1.
    face_px : least width of a face, px of the photo.
    photo_megapixels : largest photo.
    line_mm : finest line that is to show, where the scale is known.
    """

    glare_share: float
    face_px: float
    photo_megapixels: float
    line_mm: float = 0.4


@dataclass(frozen=True)
class Setup:
    """How the seller photographs.

    height_mm : least and greatest height of a face above the photo card, where nobody says it.
    paper_lab : L*, a*, b* (D65) of the seller's own paper where it was measured; else that of office paper is taken.
    """

    height_mm: tuple[float, float] = (5.0, 60.0)
    paper_lab: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class OwnTemplate:
    """A template of the seller's own: name, "oval" or "rectangle", (width, height) in mm."""

    name: str
    shape: str
    size_mm: tuple[float, float]


@dataclass(frozen=True)
class Profile:
    """All that the tool must know of a stone kind and of a seller's ladder."""

    name: str
    version: int
    colours: tuple[ColourClass, ...]
    ladder: tuple[Rung, ...]
    rules: tuple[Rule, ...]
    ovals_mm: tuple[tuple[float, float], ...]
    scene_weights: dict[str, float]
    limits: Limits
    setup: Setup = Setup()
    rounds_mm: tuple[float, ...] = (18.0, 25.0)
    templates: tuple[OwnTemplate, ...] = ()

    @cached_property
    def grades(self) -> tuple[str, ...]:
        """Grade names, best last."""
        return tuple(rung.grade for rung in self.ladder)

    def codes(self, reads_as: str) -> tuple[int, ...]:
        """Codes (1 to 8) of the colour classes that stand for ``reads_as``; empty if none does."""
        return tuple(k for k, c in enumerate(self.colours, start=1) if c.reads_as == reads_as)

    @property
    def rest(self) -> int:
        """Place (from 0) of the class that takes what is none of the others.

        The last that reads as shore, else the last of all.
        """
        return (self.codes("shore") or (len(self.colours),))[-1] - 1

    @cached_property
    def sha256(self) -> str:
        """Hash of the settings, as kept with each proposal: the same settings give the same hash."""
        return hashlib.sha256(json.dumps(asdict(self), sort_keys=True).encode()).hexdigest()


def load_profile(name_or_file: str | Path = "banded") -> Profile:
    """Return the profile of that shipped name, or from that TOML file.

    Raises
    ------
    SettingsError
        Unknown name, unreadable TOML, unknown key, wrong type, or a value out of range: one line with the nearest name.
    """
    return profile_text(name_or_file)[0]


def profile_text(name_or_file: str | Path) -> tuple[Profile, str]:
    """Return a profile as ``load_profile`` does, and the TOML text that it stands in.

    Raises
    ------
    SettingsError
        As ``load_profile``.
    """
    text, where = _profile_text(name_or_file)
    return _parse_profile(text, where), text


def profile_names() -> tuple[str, ...]:
    """Names of the profiles that ship."""
    folder = resources.files("grader") / "profiles"
    return tuple(
        sorted(f.name.removesuffix(".toml") for f in folder.iterdir() if f.name.endswith(".toml"))
    )


def _profile_text(name_or_file: str | Path) -> tuple[str, str]:
    path = Path(name_or_file)
    if path.suffix == ".toml" or os.path.isfile(path):
        try:
            return regular_bytes(path, MOST_BYTES).decode("utf-8-sig"), str(path)
        except OSError as err:
            raise SettingsError(
                f"{path}: no profile can be read there ({err.strerror}); give a .toml file or a name"
            ) from err
        except UnicodeDecodeError as err:
            raise SettingsError(f"{path}: not a text file in UTF-8; give a .toml profile") from err
    shipped = resources.files("grader") / "profiles" / f"{name_or_file}.toml"
    if str(name_or_file) not in profile_names():
        raise SettingsError(
            f"profile {quoted(name_or_file)} is not known{nearest(str(name_or_file), profile_names())}; "
            f"give one of {', '.join(profile_names())} or a .toml file"
        )
    return shipped.read_text("utf-8"), f"profile {name_or_file}"


@lru_cache(maxsize=16)
def _parse_profile(text: str, where: str) -> Profile:
    data = parse_toml(text, where)
    check_keys(where, "profile", data, (*NEEDED, "setup", "templates"), NEEDED)
    colours = _colours(where, data["colours"])
    ladder = _ladder(where, data["ladder"])
    grades = [rung.grade for rung in ladder]
    rules = tuple(_rule(where, row, grades) for row in check_rows(where, "rules", data["rules"]))
    weights = _scene_weights(where, data["scene"])
    limits = check_table(
        where, "limits", data["limits"], LIMITS, [key for key in LIMITS if key != "line_mm"]
    )
    sizes = check_table(where, "sizes", data["sizes"], SIZES, ("ovals_mm",))
    templates = check_rows(where, "templates", data.get("templates", []))
    return Profile(
        name=check_line(where, "name", data["name"]),
        version=int(check_number(where, "version", data["version"], 1, 1e9)),
        colours=colours,
        ladder=ladder,
        rules=rules,
        ovals_mm=sizes["ovals_mm"],
        scene_weights=weights,
        limits=Limits(**limits),
        setup=Setup(**check_table(where, "setup", data.get("setup", {}), SETUP)),
        rounds_mm=sizes.get("rounds_mm", Profile.rounds_mm),
        templates=tuple(_template(where, row) for row in templates),
    )


def _colours(where: str, rows: object) -> tuple[ColourClass, ...]:
    colours = tuple(_colour(where, row) for row in check_rows(where, "colours", rows))
    if not 2 <= len(colours) <= 8:
        raise SettingsError(f"{where}: {len(colours)} colour classes; declare 2 to 8")
    if len({colour.name for colour in colours}) != len(colours):
        raise SettingsError(f"{where}: two colour classes of one name; give each its own")
    _check_names(where, colours)
    return colours


def _colour(where: str, row: dict) -> ColourClass:
    check_keys(where, "colours", row, [f.name for f in fields(ColourClass)])
    for key in ("name", "lightness", "chroma", "hue_deg"):
        if key not in row:
            raise SettingsError(f"{where}: a colour class lacks {key!r}; add it")
    name = check_line(where, "colours.name", row["name"])
    return ColourClass(name, **check_values(where, f"colours.{name}", row, COLOUR))


def _check_names(where: str, colours: tuple[ColourClass, ...]) -> None:
    """Refuse names that would share a column of the results; classes that read alike may have kinds in common."""
    classes = {colour.name for colour in colours}
    if odd := classes & _NOT_A_CLASS:
        raise SettingsError(
            f"{where}: a colour class is called {min(odd)!r}, as another measure is; give it another name"
        )
    reads_as: dict[str, str] = {}
    for colour in colours:
        for kind in colour.kinds or ():
            alike = reads_as.setdefault(kind, colour.reads_as) == colour.reads_as
            twice = colour.kinds[0] == colour.kinds[1]
            if twice or not alike or kind in classes | _NOT_A_CLASS:
                raise SettingsError(
                    f"{where}: colours.{colour.name}.kinds has {quoted(kind)}, which is a name already; "
                    "give each its own"
                )


def _ladder(where: str, rows: object) -> tuple[Rung, ...]:
    ladder = tuple(_rung(where, row) for row in check_rows(where, "ladder", rows))
    if len(ladder) < 2 or len({rung.grade for rung in ladder}) != len(ladder):
        raise SettingsError(f"{where}: the ladder needs at least two grades, each named once")
    return ladder


def _rung(where: str, row: dict) -> Rung:
    keys = [f.name for f in fields(Rung)]
    check_keys(where, "ladder", row, keys, keys)
    grade = check_line(where, "ladder.grade", row["grade"])
    sell_as = one_of(SELL_AS, guess=False)(where, f"ladder.{grade}.sell_as", row["sell_as"])
    return Rung(grade, check_line(where, "ladder.meaning", row["meaning"]), sell_as)


def _rule(where: str, row: dict, grades: list[str]) -> Rule:
    check_keys(where, "rules", row, [f.name for f in fields(Rule)])
    if row.get("grade") not in grades:
        raise SettingsError(
            f"{where}: a rule is for grade {quoted(row.get('grade'))}, which is not on the ladder; "
            f"one of {', '.join(grades)}"
        )
    bounds = {
        side: check_table(where, f"rules.{row['grade']}.{side}", row.get(side, {}), RULE_BOUNDS)
        for side in ("at_least", "at_most")
    }
    return Rule(row["grade"], **bounds)


def _scene_weights(where: str, given: object) -> dict[str, float]:
    needed = [part for part in SCENE_PARTS if part not in LATER_PARTS]
    weights = check_table(where, "scene", given, SCENE_WEIGHTS, needed)
    if not any(weights.values()):
        raise SettingsError(f"{where}: the scene weights are all 0; give at least one")
    weights = LATER_PARTS | weights
    return {part: weights[part] for part in SCENE_PARTS}


def _template(where: str, row: dict) -> OwnTemplate:
    keys = [f.name for f in fields(OwnTemplate)]
    check_keys(where, "templates", row, keys, keys)
    name = check_line(where, "templates.name", row["name"])
    return OwnTemplate(name, **check_values(where, f"templates.{name}", row, TEMPLATE))


def _ovals(where: str, key: str, value: object) -> tuple[tuple[float, float], ...]:
    """Long and short diameter of one oval at least, from the smallest area on."""
    if not isinstance(value, list) or not value:
        raise SettingsError(
            f"{where}: {key} is {quoted(value)}; give one oval at least, as [[long, short]]"
        )
    ovals = [pair(1, 1000, rising=False)(where, key, oval) for oval in value]
    return tuple(sorted(ovals, key=lambda oval: oval[0] * oval[1]))


def _rounds(where: str, key: str, value: object) -> tuple[float, ...]:
    """Diameters, from the smallest on."""
    if not isinstance(value, list):
        raise SettingsError(
            f"{where}: {key} is {quoted(value)}; give a list of diameters, as [18, 25]"
        )
    return tuple(sorted(check_number(where, key, v, 1, 1000) for v in value))


def _paper_lab(where: str, key: str, value: object) -> tuple[float, ...]:
    """L*, a*, b* that a white paper can have."""
    if not isinstance(value, list) or len(value) != 3:
        raise SettingsError(
            f"{where}: {key} is {quoted(value)}; give L*, a* and b* of your paper, as [94.5, 0.5, -4]"
        )
    ranges = ((50, 100), (-20, 20), (-30, 20))
    return tuple(check_number(where, key, v, *ends) for v, ends in zip(value, ranges, strict=True))


def _kinds(where: str, key: str, value: object) -> tuple[str, ...]:
    """Two names."""
    if not isinstance(value, list) or len(value) != 2:
        raise SettingsError(
            f"{where}: {key} is {quoted(value)}; give two names, the more coloured one first"
        )
    return tuple(check_line(where, key, kind) for kind in value)


# A profile as tables: each key and what it may be.
NEEDED = ("name", "version", "colours", "ladder", "rules", "sizes", "scene", "limits")
COLOUR = {
    "reads_as": one_of(READINGS),
    "kinds": _kinds,
    "lightness": pair(0, 100),
    "chroma": pair(0, 200),
    "hue_deg": pair(0, 720),
    "kind_chroma": number(0, 200),
}
RULE_BOUNDS = dict.fromkeys(RULE_MEASURES, number(-1e6, 1e6))
SCENE_WEIGHTS = dict.fromkeys(SCENE_PARTS, number(0, 1000))
LIMITS = {
    "glare_share": number(0, 1),
    "face_px": number(8, 10_000),
    "photo_megapixels": number(1, 1000),
    "line_mm": number(0.001, 100),
}
SIZES = {"ovals_mm": _ovals, "rounds_mm": _rounds}
SETUP = {"height_mm": pair(0, 500), "paper_lab": _paper_lab}
TEMPLATE = {"shape": one_of(SHAPES), "size_mm": pair(1, 1000, rising=False)}
