"""A stone kind as data: colour classes, ladder, rules, sizes, limits. Read from TOML, checked once, frozen."""

import difflib
import hashlib
import json
import os
import tomllib
from dataclasses import asdict, dataclass, fields
from functools import cached_property, lru_cache
from importlib import resources
from pathlib import Path

from grader.errors import SettingsError, harmless, told
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
#: Letters of a path; of a name or a meaning in a profile.
MOST_LETTERS, MOST_LINE_LETTERS = 4000, 200
#: No profile or ``grader.toml`` is larger.
MOST_BYTES = 1_000_000
#: Columns of ``results.csv`` that end in _share, _low or _high and are of no class.
_NOT_A_CLASS = frozenset(("pattern", "glare", "fill", "sound", "usable", "clear"))
SELL_AS = ("single", "by weight", "chips", "waste")


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
    """When a photo is not measured: largest glare share, least face width in px, most megapixels; and the finest
    line, in mm, that is to show where the scale is known."""

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

    @property
    def grades(self) -> tuple[str, ...]:
        """Grade names, best last."""
        return tuple(rung.grade for rung in self.ladder)

    def codes(self, reads_as: str) -> tuple[int, ...]:
        """Codes (1 to 8) of the colour classes that stand for ``reads_as``; empty if none does."""
        return tuple(k for k, c in enumerate(self.colours, start=1) if c.reads_as == reads_as)

    @property
    def rest(self) -> int:
        """Place (from 0) of the class that takes what is none of the others: the last that reads as shore, else
        the last of all."""
        return (self.codes("shore") or (len(self.colours),))[-1] - 1

    @cached_property
    def sha256(self) -> str:
        """Hash of the settings, as told in each proposal: the same settings give the same hash."""
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
    """Return a profile as ``load_profile`` does, and the TOML text that it stands in."""
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
            f"profile {told(name_or_file)} is not known{nearest(str(name_or_file), profile_names())}; "
            f"give one of {', '.join(profile_names())} or a .toml file"
        )
    return shipped.read_text("utf-8"), f"profile {name_or_file}"


@lru_cache(maxsize=16)
def _parse_profile(text: str, where: str) -> Profile:
    data = parse_toml(text, where)
    needed = ("name", "version", "colours", "ladder", "rules", "sizes", "scene", "limits")
    check_keys(where, "profile", data, (*needed, "setup", "templates"))
    check_keys(where, "profile", {k: data[k] for k in needed if k in data}, needed, every=True)
    colours = tuple(_colour(where, row) for row in _rows(where, data, "colours"))
    ladder = tuple(_rung(where, row) for row in _rows(where, data, "ladder"))
    grades = [rung.grade for rung in ladder]
    if not 2 <= len(colours) <= 8:
        raise SettingsError(f"{where}: {len(colours)} colour classes; declare 2 to 8")
    if len({colour.name for colour in colours}) != len(colours):
        raise SettingsError(f"{where}: two colour classes of one name; give each its own")
    _check_names(where, colours)
    if len(ladder) < 2 or len(set(grades)) != len(grades):
        raise SettingsError(f"{where}: the ladder needs at least two grades, each named once")
    rules = tuple(_rule(where, row, grades) for row in _rows(where, data, "rules"))
    scene = data["scene"]
    check_keys(where, "scene", scene, SCENE_PARTS)
    scene = LATER_PARTS | scene
    check_keys(where, "scene", scene, SCENE_PARTS, every=True)
    weights = {
        part: check_number(where, f"scene.{part}", scene[part], 0, 1000) for part in SCENE_PARTS
    }
    if not any(weights[part] for part in SCENE_PARTS if part in data["scene"]):
        raise SettingsError(f"{where}: the scene weights are all 0; give at least one")
    limits = data["limits"]
    limits = {"line_mm": Limits.line_mm, **limits} if isinstance(limits, dict) else limits
    check_keys(where, "limits", limits, [f.name for f in fields(Limits)], every=True)
    sizes = data["sizes"]
    check_keys(where, "sizes", sizes, ("ovals_mm", "rounds_mm"))
    check_keys(where, "sizes", {"rounds_mm": []} | sizes, ("ovals_mm", "rounds_mm"), every=True)
    ovals_mm = sizes["ovals_mm"]
    if not isinstance(ovals_mm, list) or not ovals_mm:
        raise SettingsError(
            f"{where}: sizes.ovals_mm is {told(ovals_mm)}; give one oval at least, as [[long, short]]"
        )
    ovals = tuple(_pair(where, "sizes.ovals_mm", oval, 1, 1000, rising=False) for oval in ovals_mm)
    return Profile(
        name=_line(where, "name", data["name"]),
        version=int(check_number(where, "version", data["version"], 1, 1e9)),
        colours=colours,
        ladder=ladder,
        rules=rules,
        ovals_mm=tuple(sorted(ovals, key=lambda oval: oval[0] * oval[1])),
        scene_weights=weights,
        limits=Limits(
            glare_share=check_number(where, "limits.glare_share", limits["glare_share"], 0, 1),
            face_px=check_number(where, "limits.face_px", limits["face_px"], 8, 10_000),
            photo_megapixels=check_number(
                where, "limits.photo_megapixels", limits["photo_megapixels"], 1, 1000
            ),
            line_mm=check_number(where, "limits.line_mm", limits["line_mm"], 0.001, 100),
        ),
        setup=_setup(where, data.get("setup", {})),
        rounds_mm=_rounds(where, sizes.get("rounds_mm", list(Profile.rounds_mm))),
        templates=tuple(
            _template(where, row) for row in _rows(where, {"templates": []} | data, "templates")
        ),
    )


def parse_toml(text: str, where: str) -> dict:
    """Return what a TOML text holds.

    Raises
    ------
    SettingsError
        No TOML, a number of thousands of digits, or lists within lists too deep to read: one line.
    """
    try:
        return tomllib.loads(text)
    except RecursionError as err:
        raise SettingsError(
            f"{where}: lists within lists too deep to read; mend or remove it"
        ) from err
    except ValueError as err:
        raise SettingsError(
            f"{where}: not valid TOML ({err}); mend that line: numbers with a point, words in quotes"
        ) from err


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
                    f"{where}: colours.{colour.name}.kinds has {told(kind)}, which is a name already; "
                    "give each its own"
                )


def _rounds(where: str, rounds_mm: object) -> tuple[float, ...]:
    if not isinstance(rounds_mm, list):
        raise SettingsError(
            f"{where}: sizes.rounds_mm is {told(rounds_mm)}; give a list of diameters, as [18, 25]"
        )
    return tuple(sorted(check_number(where, "sizes.rounds_mm", v, 1, 1000) for v in rounds_mm))


def _template(where: str, row: dict) -> OwnTemplate:
    check_keys(where, "templates", row, [f.name for f in fields(OwnTemplate)], every=True)
    name = _line(where, "templates.name", row["name"])
    if row["shape"] not in SHAPES:
        raise SettingsError(
            f"{where}: templates.{name}.shape is {told(row['shape'])}"
            f"{nearest(told(row['shape']), SHAPES)}; one of {', '.join(SHAPES)}"
        )
    size_mm = _pair(where, f"templates.{name}.size_mm", row["size_mm"], 1, 1000, rising=False)
    return OwnTemplate(name, row["shape"], size_mm)


def _setup(where: str, table: dict) -> Setup:
    check_keys(where, "setup", table, [f.name for f in fields(Setup)])
    height_mm, lab = table.get("height_mm"), table.get("paper_lab")
    if lab is not None:
        if not isinstance(lab, list) or len(lab) != 3:
            raise SettingsError(
                f"{where}: setup.paper_lab is {told(lab)}; give L*, a* and b* of your paper, as [94.5, 0.5, -4]"
            )
        limits = ((50, 100), (-20, 20), (-30, 20))
        lab = tuple(
            check_number(where, "setup.paper_lab", v, *ends)
            for v, ends in zip(lab, limits, strict=True)
        )
    if height_mm is not None:
        height_mm = _pair(where, "setup.height_mm", height_mm, 0, 500)
    return Setup(height_mm or Setup.height_mm, lab)


def _colour(where: str, row: dict) -> ColourClass:
    check_keys(where, "colours", row, [f.name for f in fields(ColourClass)])
    for key in ("name", "lightness", "chroma", "hue_deg"):
        if key not in row:
            raise SettingsError(f"{where}: a colour class lacks {key!r}; add it")
    name = _line(where, "colours.name", row["name"])
    reads_as = row.get("reads_as", "none")
    if reads_as not in READINGS:
        raise SettingsError(
            f"{where}: colours.{name}.reads_as is {told(reads_as)}{nearest(told(reads_as), READINGS)}; "
            f"one of {', '.join(READINGS)}"
        )
    kinds = row.get("kinds")
    if kinds is not None and (not isinstance(kinds, list) or len(kinds) != 2):
        raise SettingsError(
            f"{where}: colours.{name}.kinds is {told(kinds)}; give two names, the more coloured one first"
        )
    return ColourClass(
        name=name,
        lightness=_pair(where, f"colours.{name}.lightness", row["lightness"], 0, 100),
        chroma=_pair(where, f"colours.{name}.chroma", row["chroma"], 0, 200),
        hue_deg=_pair(where, f"colours.{name}.hue_deg", row["hue_deg"], 0, 720),
        reads_as=reads_as,
        kinds=tuple(_line(where, f"colours.{name}.kinds", kind) for kind in kinds)
        if kinds
        else None,
        kind_chroma=check_number(
            where, f"colours.{name}.kind_chroma", row.get("kind_chroma", 9.0), 0, 200
        ),
    )


def _rung(where: str, row: dict) -> Rung:
    check_keys(where, "ladder", row, [f.name for f in fields(Rung)], every=True)
    grade = _line(where, "ladder.grade", row["grade"])
    if row["sell_as"] not in SELL_AS:
        raise SettingsError(
            f"{where}: ladder.{grade}.sell_as is {told(row['sell_as'])}; one of {', '.join(SELL_AS)}"
        )
    return Rung(
        grade,
        _line(where, "ladder.meaning", row["meaning"]),
        row["sell_as"],
    )


def _rule(where: str, row: dict, grades: list[str]) -> Rule:
    check_keys(where, "rules", row, [f.name for f in fields(Rule)])
    if row.get("grade") not in grades:
        raise SettingsError(
            f"{where}: a rule is for grade {told(row.get('grade'))}, which is not on the ladder; "
            f"one of {', '.join(grades)}"
        )
    bounds = {}
    for side in ("at_least", "at_most"):
        table, given = f"rules.{row['grade']}.{side}", row.get(side, {})
        check_keys(where, table, given, RULE_MEASURES)
        bounds[side] = {
            measure: check_number(where, f"{table}.{measure}", value, -1e6, 1e6)
            for measure, value in given.items()
        }
    return Rule(row["grade"], bounds["at_least"], bounds["at_most"])


#: What a written rule may speak of; ``grading.features`` gives each of them for a measured piece.
RULE_MEASURES = (
    "pattern_share", "blue_share", "white_share", "host_share", "rusty_share", "grey_share", "glare_share",
    "blue_chroma", "white_lightness", "band_contrast", "continuity", "fill_share", "bands",
    "crack_count", "crack_density", "scene_score", "area_cm2",
)  # fmt: skip


def check_keys(where: str, table: str, given: object, keys, every: bool = False) -> None:
    if not isinstance(given, dict):
        raise SettingsError(f"{where}: {table} is {told(given)}; give a table of settings")
    for key in given:
        if key not in keys:
            raise SettingsError(
                f"{where}: {table} has no setting {told(key)}{nearest(str(key), keys)}; remove or rename it"
            )
    missing = [key for key in keys if key not in given]
    if every and missing:
        raise SettingsError(f"{where}: {table} lacks {missing[0]!r}; add it")


def _rows(where: str, data: dict, key: str) -> list[dict]:
    if not isinstance(data[key], list) or not all(isinstance(row, dict) for row in data[key]):
        raise SettingsError(f"{where}: {key} is not a list of tables; write [[{key}]] above each")
    return data[key]


def check_number(where: str, key: str, value: object, low: float, high: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise SettingsError(
            f"{where}: {key} is {told(value)}; give a number from {low:g} to {high:g}"
        )
    return float(value)


def _pair(
    where: str, key: str, value: object, low: float, high: float, rising: bool = True
) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise SettingsError(f"{where}: {key} is {told(value)}; give two numbers")
    first, second = (check_number(where, key, v, low, high) for v in value)
    if rising and first > second:
        raise SettingsError(f"{where}: {key} is {told(value)}; give the lower number first")
    return first, second


def check_text(where: str, key: str, value: object) -> str:
    if not isinstance(value, str) or not value.strip():
        raise SettingsError(f"{where}: {key} is {told(value)}; give a word or a line")
    if len(value) > MOST_LETTERS or "\0" in value:
        raise SettingsError(f"{where}: {key} is {told(value)}; give a name that a file can have")
    return value


def _line(where: str, key: str, value: object) -> str:
    """A name or a meaning, which stands in tables and on sheets."""
    text = check_text(where, key, value)
    if len(text) > MOST_LINE_LETTERS or "\n" in text or harmless(text) != text:
        raise SettingsError(
            f"{where}: {key} is {told(text)}; give one line of plain letters, {MOST_LINE_LETTERS} at most"
        )
    return text


def nearest(word: str, words) -> str:
    """Return the nearest of some words as a guess behind a message; nothing for what is no word at all."""
    if len(word) > MOST_LETTERS:
        return ""
    close = difflib.get_close_matches(word, list(words), n=1)
    return f" (did you mean {close[0]!r}?)" if close else ""
