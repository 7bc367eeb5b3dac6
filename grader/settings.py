"""``grader.toml`` of the working folder: what holds there unless the command line says
otherwise."""

import json
import re
import tomllib
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from grader.errors import SettingsError
from grader.files import write_text
from grader.profile import check_keys, check_number, check_text

FILE = "grader.toml"
#: At this scale a stone of 60 px, the least that is judged, would be 30 cm wide.
MOST_MM_PER_PX = 5.0
UNITS = ("g", "lb")
#: Which model was in use since when: a line for each change, never edited.
USED_FILE = "models.jsonl"


@dataclass(frozen=True)
class Settings:
    """Settings of one working folder.

    profile : name of a shipped profile or a TOML file.   model : folder of a trained model, the
    starter if ``None``.
    mm_per_px : millimetres per px of full-size photos.   units : "g" or "lb".   currency : as the
    seller writes it.
    Paths are taken from the folder where the command is run.
    """

    profile: str = "banded"
    model: str | None = None
    mm_per_px: float | None = None
    units: str = "g"
    currency: str | None = None


def load_settings(folder: str | Path = ".") -> Settings:
    """Return the settings of that working folder; the defaults where it has no ``grader.toml``.

    Raises
    ------
    SettingsError
        Unreadable TOML, an unknown key (the nearest is named), a wrong type or a value out of
        range.
    """
    path = Path(folder) / FILE
    try:
        data = tomllib.loads(path.read_text("utf-8-sig"))
    except FileNotFoundError:
        return Settings()
    except (OSError, UnicodeDecodeError) as err:
        raise SettingsError(f"{path}: cannot be read ({err}); mend or remove it") from err
    except tomllib.TOMLDecodeError as err:
        raise SettingsError(f"{path}: not valid TOML ({err}); mend that line") from err
    where = str(path)
    check_keys(where, "the file", data, [field.name for field in fields(Settings)])
    for key in ("profile", "model", "units", "currency"):
        if key in data:
            check_text(where, key, data[key])
    if "mm_per_px" in data:
        data["mm_per_px"] = check_number(
            where, "mm_per_px", data["mm_per_px"], 1e-6, MOST_MM_PER_PX
        )
    if data.get("units", "g") not in UNITS:
        raise SettingsError(f"{where}: units is {data['units']!r}; one of {', '.join(UNITS)}")
    return Settings(**data)


@dataclass(frozen=True)
class Used:
    """A model taken into use: its folder, ``None`` for the starter, its label, and when (ISO 8601)."""

    model: str | None
    label: str
    time: str


def used_models(folder: str | Path = ".") -> tuple[Used, ...]:
    """Return which models were taken into use in that working folder, in order.

    Raises
    ------
    SettingsError
        A line that holds no such fact.
    """
    path = Path(folder) / USED_FILE
    if not path.exists():
        return ()
    used = []
    for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1):
        try:
            used.append(Used(**json.loads(line)))
        except (ValueError, TypeError) as err:
            text = f"{path}: line {number} tells no model ({err}); mend or remove that line"
            raise SettingsError(text) from err
    return tuple(used)


def use_model(model: str | Path | None, label: str, time: str, folder: str | Path = ".") -> Path:
    """Take a model into use: write it into the folder's ``grader.toml``, every other line kept, and add the fact to
    ``models.jsonl``; return the path of the first. ``None`` is the starter.
    """
    path = Path(folder) / FILE
    load_settings(folder)
    text = path.read_text("utf-8-sig") if path.exists() else ""
    # A JSON string in plain ASCII is a valid TOML basic string.
    line = None if model is None else f"model = {json.dumps(Path(model).as_posix())}"
    pattern = r"(?m)^[ \t]*(\"model\"|'model'|model)[ \t]*=.*$\n?"
    text, found = re.subn(pattern, lambda _: "" if line is None else f"{line}\n", text, count=1)
    if not found and line is not None:
        text = text + ("\n" if text and not text.endswith("\n") else "") + line + "\n"
    write_text(path, text)
    fact = Used(None if model is None else Path(model).as_posix(), label, time)
    with open(Path(folder) / USED_FILE, "a", encoding="utf-8") as file:
        file.write(json.dumps(asdict(fact)) + "\n")
    return path
