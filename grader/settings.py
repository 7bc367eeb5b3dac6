"""``grader.toml`` of the working folder: what holds there unless the command line says
otherwise; and ``models.jsonl``, which model was in use there since when."""

import json
import re
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from grader.errors import SettingsError, told
from grader.files import append_lines, is_json, regular_bytes, write_text
from grader.profile import MOST_BYTES, check_keys, check_number, check_text, parse_toml

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
        text = regular_bytes(path, MOST_BYTES).decode("utf-8-sig")
    except FileNotFoundError:
        return Settings()
    except (OSError, UnicodeDecodeError) as err:
        reason = getattr(err, "strerror", None) or "not text in UTF-8"
        raise SettingsError(f"{path}: cannot be read ({reason}); mend or remove it") from err
    where = str(path)
    data = parse_toml(text, where)
    check_keys(where, "the file", data, [field.name for field in fields(Settings)])
    for key in ("profile", "model", "units", "currency"):
        if key in data:
            check_text(where, key, data[key])
    if "mm_per_px" in data:
        data["mm_per_px"] = check_number(
            where, "mm_per_px", data["mm_per_px"], 1e-6, MOST_MM_PER_PX
        )
    if data.get("units", "g") not in UNITS:
        raise SettingsError(f"{where}: units is {told(data['units'])}; one of {', '.join(UNITS)}")
    return Settings(**data)


@dataclass(frozen=True)
class Used:
    """A model taken into use: its folder, ``None`` for the starter; its label, ``None`` where it could not be read;
    and when (ISO 8601), ``None`` where it was in use before anything was written down."""

    model: str | None
    label: str | None
    time: str | None


def used_models(folder: str | Path = ".") -> tuple[tuple[Used, ...], str | None]:
    """Return which models were taken into use in that working folder, in order, and a remark where
    the last line is only half there; that one is left out.

    Raises
    ------
    SettingsError
        A line that holds no such fact.
    """
    path = Path(folder) / USED_FILE
    if not path.exists():
        return (), None
    *lines, tail = path.read_bytes().split(b"\n")
    remark = None
    if is_json(tail):
        lines.append(tail)
    elif tail:
        remark = f"{path}: line {len(lines) + 1} is only half there; left out"
    used = []
    for number, line in enumerate(lines, start=1):
        try:
            used.append(Used(**json.loads(line)))
        except (ValueError, TypeError) as err:
            text = f"{path}: line {number} tells no model ({err}); mend or remove that line"
            raise SettingsError(text) from err
    return tuple(used), remark


def use_model(
    model: str | Path | None,
    label: str,
    time: str,
    folder: str | Path = ".",
    *,
    replaced: str | None,
) -> Path:
    """Take a model into use: add the fact to ``models.jsonl`` and write the model into the folder's ``grader.toml``,
    every other line kept; return the path of the latter. ``None`` is the starter.

    The model that is replaced, with the label ``replaced``, is added before it where the log does not end with it:
    the way back is always written down.
    """
    path = Path(folder) / FILE
    before = _posix(load_settings(folder).model)
    used, _ = used_models(folder)
    facts = [Used(_posix(model), label, time)]
    if not used or used[-1].model != before:
        facts.insert(0, Used(before, replaced, None))
    # The log first: a cut between the two leaves a line too many, not a change without one.
    append_lines(
        Path(folder) / USED_FILE, [json.dumps(asdict(fact)) for fact in facts], SettingsError
    )
    text = path.read_text("utf-8-sig") if path.exists() else ""
    # A JSON string in plain ASCII is a valid TOML basic string.
    line = None if model is None else f"model = {json.dumps(_posix(model))}"
    pattern = r"(?m)^[ \t]*(\"model\"|'model'|model)[ \t]*=.*$\n?"
    text, found = re.subn(pattern, lambda _: "" if line is None else f"{line}\n", text, count=1)
    if not found and line is not None:
        text = text + ("\n" if text and not text.endswith("\n") else "") + line + "\n"
    write_text(path, text)
    return path


def _posix(model: str | Path | None) -> str | None:
    return None if model is None else Path(model).as_posix()
