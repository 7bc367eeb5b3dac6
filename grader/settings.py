"""``grader.toml`` of the working folder: what holds there unless the command line says
otherwise."""

import json
import re
import tomllib
from dataclasses import dataclass, fields
from pathlib import Path

from grader.errors import SettingsError
from grader.files import write_text
from grader.profile import check_keys, check_number, check_text

FILE = "grader.toml"
#: At this scale a stone of 60 px, the least that is judged, would be 30 cm wide.
MOST_MM_PER_PX = 5.0
UNITS = ("g", "lb")


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


def use_model(model: str | Path, folder: str | Path = ".") -> Path:
    """Write that model into the folder's ``grader.toml``, every other line kept; return the file's
    path."""
    path = Path(folder) / FILE
    load_settings(folder)
    text = path.read_text("utf-8-sig") if path.exists() else ""
    # A JSON string in plain ASCII is a valid TOML basic string.
    line = f"model = {json.dumps(Path(model).as_posix())}"
    text, found = re.subn(
        r"(?m)^[ \t]*(\"model\"|'model'|model)[ \t]*=.*$", lambda _: line, text, count=1
    )
    if not found:
        text = text + ("\n" if text and not text.endswith("\n") else "") + line + "\n"
    write_text(path, text)
    return path
