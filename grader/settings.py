"""``grader.toml``, found upward from the working folder: what holds there unless the command line says otherwise."""

from dataclasses import dataclass, fields, replace
from pathlib import Path

from grader.checks import MOST_BYTES, check_keys, check_number, check_text, one_of, pair, parse_toml
from grader.errors import SettingsError, quoted
from grader.files import regular_bytes
from grader.weight import GRAMS_IN

FILE = "grader.toml"
#: At this scale a stone of 60 px, the least that is judged, would be 30 cm wide.
MOST_MM_PER_PX = 5.0


@dataclass(frozen=True)
class BreakRanges:
    """What may come of a blow, as shares 0 to 1 from and to. Starting values from memory: put your own experience here.

    opens : a line that is a crack opens when it is struck.   opens_too : it opens though another one is struck.
    breaks_more : a stone breaks once more where no line is seen.   loss : of the stone, as chips and dust, each time it
    parts.   chips : of that loss, what can be sold as chips.
    """

    opens: tuple[float, float] = (0.75, 0.98)
    opens_too: tuple[float, float] = (0.05, 0.35)
    breaks_more: tuple[float, float] = (0.03, 0.25)
    loss: tuple[float, float] = (0.005, 0.025)
    chips: tuple[float, float] = (0.3, 0.8)


@dataclass(frozen=True)
class Settings:
    """Settings of a folder and all folders in it.

    profile : name of a shipped profile or a TOML file.   mm_per_px : millimetres per px of full-size photos.
    ledger : file of the ledger; the one in the platform's data folder if ``None``.
    by : who sorts here, where the command line names nobody.   decider : whose calls count where people differ; the
    last one's if ``None``.
    density : of the stone, g/cm3.   chunk : share of its bounding box that a chunk fills; from memory if ``None``.
    net_contents : whose table says what a bag may be short by, "EU" or "US".
    unit : of weights, where none is typed and where they are shown.   currency : of prices, where no price table holds.
    breaking : what may come of a blow.
    """

    profile: str = "banded"
    mm_per_px: float | None = None
    ledger: Path | None = None
    by: str | None = None
    decider: str | None = None
    unit: str = "g"
    currency: str | None = None
    breaking: BreakRanges = BreakRanges()
    density: tuple[float, float] | None = None
    chunk: tuple[float, float] | None = None
    net_contents: str = "EU"


def load_settings(folder: str | Path = ".") -> Settings:
    """Return the settings of the nearest ``grader.toml``, in that folder or above it; the defaults where there is none.

    Files that it names, a profile or the ledger, are taken from the folder in which it lies.

    Raises
    ------
    SettingsError
        Unreadable TOML, an unknown key (the nearest is named), a wrong type or a value out of
        range.
    """
    path = settings_file(folder)
    if path is None:
        return Settings()
    where = str(path)
    try:
        text = regular_bytes(path, MOST_BYTES).decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as err:
        reason = getattr(err, "strerror", None) or "not text in UTF-8"
        raise SettingsError(f"{path}: cannot be read ({reason}); mend or remove it") from err
    data = parse_toml(text, where)
    check_keys(where, "the file", data, [field.name for field in fields(Settings)])
    for key in ("profile", "ledger", "by", "decider", "currency"):
        if key in data:
            check_text(where, key, data[key])
    if "mm_per_px" in data:
        data["mm_per_px"] = check_number(
            where, "mm_per_px", data["mm_per_px"], 1e-6, MOST_MM_PER_PX
        )
    if "unit" in data:
        one_of(tuple(GRAMS_IN))(where, "unit", data["unit"])
    if "breaking" in data:
        data["breaking"] = _break_ranges(where, data["breaking"])
    if "net_contents" in data:
        one_of(("EU", "US"))(where, "net_contents", data["net_contents"])
    for key, most in (("density", 10.0), ("chunk", 1.0)):
        if key in data:
            data[key] = pair(0.05, most)(where, key, data[key])
    settings = Settings(**data)
    here = path.parent
    if settings.ledger is not None:
        settings = replace(settings, ledger=here / settings.ledger)
    if (here / settings.profile).is_file():
        settings = replace(settings, profile=str(here / settings.profile))
    return settings


def _break_ranges(where: str, table: object) -> BreakRanges:
    keys = [field.name for field in fields(BreakRanges)]
    check_keys(where, "[breaking]", table, keys)
    return BreakRanges(**{key: _share_range(where, f"breaking.{key}", table[key]) for key in table})


def _share_range(where: str, key: str, value: object) -> tuple[float, float]:
    if isinstance(value, list) and len(value) == 2:
        low, high = (check_number(where, key, one, 0.0, 1.0) for one in value)
        if low <= high:
            return low, high
    raise SettingsError(
        f"{where}: {key} is {quoted(value)}; give two shares from 0 to 1, the lower first, as [0.75, 0.98]"
    )


def settings_file(folder: str | Path) -> Path | None:
    """Return the nearest ``grader.toml``, in that folder or above it; ``None`` where there is none."""
    folder = Path(folder).absolute()
    places = (one / FILE for one in (folder, *folder.parents))
    return next((path for path in places if path.exists() and not path.is_dir()), None)
