"""The folder of a model: readable JSON that runs no code, written whole or not at all, and checked on reading.

A file for each part of :mod:`~grader.grading.models.model_json`, and card.md: what it was made from, how good it is,
what it cannot do.
"""

import os
import re
from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path

from grader.errors import GraderError, ModelError, quoted
from grader.files import new_folder, parse_json, regular_bytes, sync_folder, write_text
from grader.grading.features.rules import Features
from grader.grading.models.model import Model
from grader.grading.models.model_json import FORMAT, PARTS, check_parts, model_from, model_texts
from grader.measures import MEASUREMENT_VERSION
from grader.photo.net import starter_folder
from grader.profile import Profile

#: Far above what the largest ensemble takes (the starter's has 0.3 MB).
MOST_PART_BYTES = 20_000_000

#: What a model's folder holds.
FILES = frozenset((*(f"{name}.json" for name in PARTS), "card.md"))

#: Name and short hash: what a folder is called after must hold no sign of a path.
_LABEL = re.compile(r"(?s).* [0-9a-f]{8}")


def save_model(
    model: Model, folder: Path, samples: Sequence[Features], card: str, profile: Profile
) -> Path | None:
    """Make ``folder`` the model's, whole or not at all, and return where the model that was there is kept now;
    ``None`` where there was none, or the same.

    A kill, a power cut or a full disk at any step leaves the old model or the new one readable:
    :func:`load_model_as` finds it. ``samples`` are features of some faces.

    Raises
    ------
    GraderError
        The folder is no place for a model (:func:`check_place`), or it cannot be written to: one line.
    """
    folder = Path(folder)
    check_place(folder)
    before, kept, part = _written_label(folder), None, None
    texts = model_files(model, samples, card, profile)
    try:
        part = new_folder(folder)
        for name, text in texts.items():
            write_text(part / name, text)
        sync_folder(part)
        if before is not None:
            kept = next(path for path in _asides(folder, before) if not path.exists())
            os.rename(folder, kept)
        elif folder.exists():
            folder.rmdir()
        try:
            os.rename(part, folder)
        except OSError:
            if kept is not None:
                os.rename(kept, folder)
            raise
        sync_folder(folder.parent)
    except (OSError, GraderError) as err:
        _forget(part)
        reason = err.strerror if isinstance(err, OSError) else err.__cause__.strerror
        raise GraderError(
            f"{folder}: cannot be written ({reason}), so it is as it was; make room there, "
            "or choose another folder",
            "output",
        ) from err
    if before == model.label:
        _forget(kept)
        return None
    return kept


def check_place(folder: Path) -> None:
    """Refuse a folder that a model must not be written into: one that holds what is no model of ours.

    Raises
    ------
    GraderError
        One line naming the folder and a file in it.
    """
    if Path(folder).name in ("", ".."):
        raise GraderError(f"{folder}: give the model a folder of its own, as my-model", "output")
    try:
        names = sorted(os.listdir(folder))
    except FileNotFoundError:
        return
    except OSError as err:
        raise GraderError(
            f"{folder}: cannot be written ({err.strerror}); choose another folder", "output"
        ) from err
    if names and _written_label(folder) is None:
        raise GraderError(
            f"{folder}: holds files that are no model, as {names[0]}; choose another folder",
            "output",
        )


def _written_label(folder: Path) -> str | None:
    """What the files of a folder call their model; ``None`` where they are no model of ours."""
    try:
        label = parse_json(regular_bytes(folder / "grade.json", MOST_PART_BYTES))["label"]
    except (OSError, ValueError, TypeError, KeyError):
        return None
    return label if isinstance(label, str) and _LABEL.fullmatch(label) else None


def _asides(folder: Path, label: str) -> Iterator[Path]:
    """Where a model of that label may be kept that was in this folder before, the first place first."""
    first = aside_of(folder, label)
    yield first
    for number in range(2, 1000):
        yield first.with_name(f"{first.name}-{number}")


def _forget(folder: Path | None) -> None:
    """Remove the files of a model, and its folder where nothing else is in it."""
    if folder is None:
        return
    try:
        if folder.is_symlink():
            folder.unlink()
            return
        for path in folder.iterdir():
            if path.name in FILES or path.suffix == ".part":
                path.unlink()
        folder.rmdir()
    except OSError:  # what is left does no harm, and the model is saved
        return


def model_files(
    model: Model, samples: Sequence[Features], card: str, profile: Profile
) -> dict[str, str]:
    """Return the text of each file of a model by its name."""
    texts = model_texts(model, samples, profile)
    return {f"{name}.json": text for name, text in texts.items()} | {"card.md": card}


def aside_of(folder: Path, label: str) -> Path:
    """Return where a model of that label is kept that was in this folder before."""
    return folder.with_name(f"{folder.name}-{label.rsplit(' ', 1)[-1]}")


def place_of(folder: Path, label: str) -> Path:
    """Return where the model of that label lies that was put into that folder: there, or kept beside it.

    Raises
    ------
    ModelError
        As :func:`load_model_as`.
    """
    load_model_as(folder, label)
    places = (folder, *(_asides(folder, label) if _LABEL.fullmatch(label) else ()))
    return next(place for place in places if _written_label(place) == label)


def load_model_as(folder: str | Path | None, label: str) -> Model:
    """Return the model of that label: that of the folder, else the one that was there and is kept beside it.

    What ships has changed where the tool was installed anew, and is taken as it is: ``None`` is the starter, whatever
    its label.

    Raises
    ------
    ModelError
        Neither is that model: one line that says why not.
    """
    if folder is None:
        return load_model()
    why = f"it holds another model than {label}"
    try:
        model = load_model(folder)
        if model.label == label:
            return model
    except ModelError as err:
        why = str(err).removeprefix(f"{folder}: ")
    for kept in _asides(Path(folder), label) if _LABEL.fullmatch(label) else ():
        if not kept.exists():
            break
        try:
            model = load_model(kept)
        except ModelError:
            continue
        if model.label == label:
            return model
    raise ModelError(
        f"{folder}: the model in use is not there, nor kept beside it ({why}); "
        "name another with `grader models --use`"
    )


def load_model(folder: str | Path | None = None) -> Model:
    """Return the model of that folder; ``None`` is the starter that ships.

    Raises
    ------
    ModelError
        No model there, another format or measurement version, unknown features, or a sample that does not come out as
        written: one line with the command that makes the folder anew.
    """
    where = starter_folder() if folder is None else Path(folder)
    stamps = tuple(_stamp(where / f"{name}.json") for name in PARTS)
    return _load(where, stamps, _mend(folder))


@lru_cache(maxsize=4)
def _load(folder: Path, stamps: tuple, mend: str) -> Model:
    parts = {name: _read(folder / f"{name}.json", mend) for name in PARTS}
    try:
        if len({quoted(part["label"]) for part in parts.values()}) > 1:
            raise ModelError("its files are of different models")
        model = model_from(parts)
        check_parts(model, parts)
    except ModelError as err:
        raise ModelError(f"{folder}: {err}; {mend}") from err
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, ArithmeticError) as err:
        raise ModelError(
            f"{folder}: the model's files do not hold what they should ({err}); {mend}"
        ) from err
    return model


def _mend(folder: str | Path | None) -> str:
    command = "python -m grader.starter" if folder is None else "grader retrain"
    return f"make it anew with `{command}`"


def _stamp(path: Path) -> tuple[int, int]:
    try:
        stat = path.stat()
    except OSError:
        return (0, 0)
    return stat.st_mtime_ns, stat.st_size


def _read(path: Path, mend: str) -> dict:
    try:
        content = parse_json(regular_bytes(path, MOST_PART_BYTES).decode("utf-8"))
    except FileNotFoundError as err:
        if not path.parent.is_dir():
            raise ModelError(
                f"{path.parent}: no such folder; grader models lists those here"
            ) from err
        raise ModelError(f"{path}: no model can be read there ({err.strerror}); {mend}") from err
    except OSError as err:
        raise ModelError(f"{path}: no model can be read there ({err.strerror}); {mend}") from err
    except ValueError as err:
        raise ModelError(f"{path}: not a model file ({err}); {mend}") from err
    for key, ours in (("format", FORMAT), ("measurement_version", MEASUREMENT_VERSION)):
        theirs = content.get(key) if isinstance(content, dict) else None
        if theirs != ours:
            words = key.replace("_", " ")
            raise ModelError(
                f"{path}: made for {words} {quoted(theirs)}, this program has {ours}; {mend}"
            )
    return content
