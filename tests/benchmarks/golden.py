"""The golden set: every number and word of the records of the samples and 40 renders, kept to be compared.

``golden.py`` compares what is measured now with what is kept and names what differs; ``golden.py --write`` keeps anew,
in a change that says why. Numbers must be the same to the last digit unless ``--within`` allows a share; words are
compared apart (``--words``), since a screen may be reworded while nothing is measured otherwise.
"""

import argparse
import gzip
import hashlib
import json
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from renders import drawn_photo

import grader
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo, Scale
from grader.render import TRAINING

HERE = Path(__file__).parent
KEPT = HERE / "golden.json.gz"
SAMPLES = HERE.parents[1] / "sample_images"
#: Seed of the renders; even numbers are of the style kept back from learning, every third has a scale.
SEED, RENDERS = 7_000, 40


def names() -> list[str]:
    """Names of the golden photos: files of the samples, then the renders by number."""
    listed = json.loads((SAMPLES / "manifest.json").read_text("utf-8"))["photos"]
    return [*(photo["file"] for photo in listed), *(f"render {n}" for n in range(RENDERS))]


def record_of(name: str) -> dict:
    """The record of one golden photo as it is made now."""
    if not name.startswith("render"):
        return grader.photo_record(grader.grade_photo(SAMPLES / name))
    number = int(name.split()[1])
    style = {} if number % 2 == 0 else {"style": TRAINING}
    drawn = drawn_photo(SEED, number, **style)
    photo = Photo(
        name=name,
        rgb=drawn.rgb,
        encoding=srgb_encoding(),
        sha256=hashlib.sha256(drawn.rgb.tobytes()).hexdigest(),
        scale=Scale(drawn.mm_per_px, "hand") if number % 3 == 0 else Scale(),
    )
    return grader.photo_record(grader.grade_photo(photo))


def leaves(value, path: str = "") -> Iterator[tuple[str, object]]:
    """Every number, word and nothing of a record, with its place in it."""
    if isinstance(value, dict):
        for key, part in value.items():
            yield from leaves(part, f"{path}.{key}" if path else key)
    elif isinstance(value, list):
        yield f"{path}.length", len(value)
        for n, part in enumerate(value):
            yield from leaves(part, f"{path}[{n}]")
    else:
        yield path, value


def is_word(value) -> bool:
    return isinstance(value, str)


def differences(kept: dict, now: dict, within: float, words: bool) -> list[str]:
    """Places at which two records differ, a line each."""
    old, new = dict(leaves(kept)), dict(leaves(now))
    lines = []
    for path in dict.fromkeys([*old, *new]):
        a, b = old.get(path), new.get(path)
        if a == b or (is_word(a) or is_word(b)) != words:
            continue
        numbers = all(isinstance(v, int | float) and not isinstance(v, bool) for v in (a, b))
        if numbers and np.isclose(a, b, rtol=within, atol=0):
            continue
        lines.append(f"{path}: {a!r} -> {b!r}")
    return lines


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--write", action="store_true", help="keep what is measured now")
    ask.add_argument("--within", type=float, default=0.0, help="share by which numbers may differ")
    ask.add_argument("--words", action="store_true", help="compare words instead of numbers")
    ask.add_argument("--only", type=int, help="so many photos, drawn with seed 0")
    ask.add_argument("--jobs", type=int, default=2)
    args = ask.parse_args()
    photos = names()
    if args.only:
        photos = sorted(np.random.default_rng(0).choice(photos, args.only, replace=False).tolist())
    with ProcessPoolExecutor(args.jobs) as pool:
        now = dict(zip(photos, pool.map(record_of, photos), strict=True))
    if args.write:
        text = json.dumps(now, sort_keys=True, separators=(",", ":"))
        KEPT.write_bytes(gzip.compress(text.encode(), mtime=0))
        print(f"{len(now)} photos kept, {KEPT.stat().st_size / 1e3:.0f} kB")
        return
    kept = json.loads(gzip.decompress(KEPT.read_bytes()))
    count = 0
    for name in photos:
        found = differences(kept[name], now[name], args.within, args.words)
        count += len(found)
        for line in found[:10]:
            print(f"{name}: {line}")
        if len(found) > 10:
            print(f"{name}: and {len(found) - 10} more")
    print(f"{len(photos)} photos, {count} {'words' if args.words else 'numbers'} differ")
    sys.exit(1 if count else 0)


if __name__ == "__main__":
    main()
