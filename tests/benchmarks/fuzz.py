"""Fuzzing by coverage (package atheris): a reader is given what a fuzzer makes of texts and pictures that it accepts.

    python tests/benchmarks/fuzz.py READER [--seconds N]

READER is ``photo``, ``model`` or one of ``readers.py``. It ends with 0 where each input was read or refused in one
line; what was not lies in a file ``crash-...`` then, to be kept in ``tests/found``.
"""

import argparse
import json
import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["grader"]):
    import bad_pictures
    from readers import READERS

    from grader.errors import GraderError
    from grader.grading.models.model_files import PARTS, load_model
    from grader.photo.net import starter_folder
    from grader.photo.read import read_photo

#: What is put where a model has a value.
STRAYS = (
    None,
    True,
    -1,
    0,
    1e308,
    10**400,
    "",
    "x" * 300,
    "a\nb",
    [],
    {},
    [[]],
    [1],
    {"a": 1},
    float("nan"),
    float("inf"),
)


def checked(read, path: Path) -> None:
    """Read a file; what is refused is told in one line."""
    try:
        read(path)
    except GraderError as err:
        lines = str(err).split("\n")
        if not all(line.isprintable() for line in lines) or (
            len(lines) > 1 and path.name != "spots.csv"
        ):
            raise AssertionError(f"not one line: {str(err)!r}") from err


def photo(folder: Path):
    """Return what takes bytes as a photo, and what to begin with."""
    path = folder / "a.jpg"

    def take(data: bytes) -> None:
        path.write_bytes(data)
        checked(lambda path: read_photo(path, max_megapixels=4), path)

    return take, [bad_pictures.whole(kind, bad_pictures.SAMPLES[0]) for kind in bad_pictures.WHOLE]


def table(name: str, folder: Path):
    """The same for a table or a file of settings."""
    read, text = READERS[name]
    path = folder / name

    def take(data: bytes) -> None:
        path.write_bytes(data)
        checked(read, path)

    return take, [text.encode()]


def model(folder: Path):
    """The same for a model: bytes say which values of its files become others, and which ones."""
    whole = {name: (starter_folder() / f"{name}.json").read_text("utf-8") for name in PARTS}

    def take(data: bytes) -> None:
        given = atheris.FuzzedDataProvider(data)
        parts = {name: json.loads(text) for name, text in whole.items() if name != "familiarity"}
        for _ in range(given.ConsumeIntInRange(1, 3)):
            node = parts[given.PickValueInList(sorted(parts))]
            while True:
                keys = sorted(node) if isinstance(node, dict) else range(len(node))
                key = given.PickValueInList(list(keys)) if len(keys) else None
                if (
                    key is None
                    or not isinstance(node[key], dict | list)
                    or given.ConsumeIntInRange(0, 4) == 0
                ):
                    break
                node = node[key]
            if key is not None:
                stray = given.ConsumeIntInRange(0, len(STRAYS))
                node[key] = STRAYS[stray] if stray < len(STRAYS) else given.ConsumeFloat()
        for name, part in parts.items():
            (folder / f"{name}.json").write_text(json.dumps(part), "utf-8")
        checked(load_model, folder)

    (folder / "familiarity.json").write_text(whole["familiarity"], "utf-8")
    return take, [bytes(range(256))]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("reader", choices=("photo", "model", *READERS))
    parser.add_argument("--seconds", type=int, default=60)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        work, corpus = Path(folder, "work"), Path(folder, "corpus")
        work.mkdir()
        corpus.mkdir()
        makers = {"photo": photo, "model": model}
        take, begin = makers.get(asked.reader, lambda folder: table(asked.reader, folder))(work)
        for n, data in enumerate(begin):
            (corpus / str(n)).write_bytes(data)
        limits = [
            f"-max_total_time={asked.seconds}",
            "-timeout=300",
            "-rss_limit_mb=3000",
            "-max_len=40000",
        ]
        atheris.Setup([sys.argv[0], *limits, str(corpus)], take)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
