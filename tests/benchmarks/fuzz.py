"""Fuzzing by coverage (package atheris): a reader is given what a fuzzer makes of texts and pictures that it accepts.

    python tests/benchmarks/fuzz.py [READER ...] [--seconds N] [--write]

READER is ``photo``, ``model`` or one of ``readers.py``; all of them where none is named. It ends with 0 where each
input was read or refused in one line; the first that was not lies in a file ``crash-...``, to be kept as a test.
"""

import argparse
import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["grader"]):
    import bad_pictures
    import tables
    from readers import READERS

    from grader.errors import GraderError
    from grader.grading.models.model_files import PARTS, load_model
    from grader.photo.net import starter_folder
    from grader.photo.read import read_photo

#: All that can be fuzzed.
ALL = ("photo", "model", *READERS)
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


def fuzz(reader: str, seconds: int) -> None:
    """Fuzz one reader until its time is over or something is found; ends this process."""
    with tempfile.TemporaryDirectory() as folder:
        work, corpus = Path(folder, "work"), Path(folder, "corpus")
        work.mkdir()
        corpus.mkdir()
        makers = {"photo": photo, "model": model}
        take, begin = makers.get(reader, lambda folder: table(reader, folder))(work)
        for n, data in enumerate(begin):
            (corpus / str(n)).write_bytes(data)
        limits = [
            f"-max_total_time={seconds}",
            "-timeout=300",
            "-rss_limit_mb=3000",
            "-max_len=40000",
        ]
        atheris.Setup([sys.argv[0], *limits, str(corpus)], take)
        atheris.Fuzz()


def fuzzed(reader: str, seconds: int) -> tuple[int, int]:
    """Fuzz one reader in a process of its own; return how many inputs it was given, and how many were a finding."""
    work = [sys.executable, __file__, reader, "--seconds", str(seconds), "--work"]
    done = subprocess.run(work, capture_output=True)
    told = done.stderr.decode("utf-8", "replace")
    # libFuzzer numbers its inputs: "#1024 pulse ...", at the end "Done 2000 runs in 20 second(s)".
    runs = [int(n) for n in re.findall(r"^#(\d+)\s|^Done (\d+) runs", told, re.M) for n in n if n]
    if done.returncode:
        print(told[-6000:], file=sys.stderr, flush=True)
    return max(runs, default=0), int(done.returncode != 0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("readers", nargs="*", metavar="READER", help=f"of {', '.join(ALL)}")
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--work", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if unknown := set(asked.readers) - set(ALL):
        parser.error(f"no such reader: {', '.join(sorted(unknown))}")
    if asked.work:
        fuzz(asked.readers[0], asked.seconds)
    made = []
    for reader in asked.readers or ALL:
        runs, found = fuzzed(reader, asked.seconds)
        on, n = "inputs made by coverage", f"{runs} inputs in {asked.seconds} s"
        made.append(tables.Row(f"fuzzing: findings in {reader}", on, n, str(found), floor="0"))
        print(f"{reader}: {n}, {found} found", file=sys.stderr, flush=True)
        if asked.write:
            tables.write("bad_pictures", made)
    sys.exit(any(row.ours != "0" for row in made))


if __name__ == "__main__":
    main()
