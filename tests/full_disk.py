"""A program that runs ``batch`` on a disk of its own that is full, gives it room, and tells what came of both.

    unshare -rm sh -c "mount -t tmpfs -o size=4m none FOLDER && python tests/full_disk.py FOLDER PHOTOS"

It prints a JSON list, one object for each size of the room that is left at first, in kB.
"""

import json
import os
import shutil
import sys
import warnings
from pathlib import Path

import killed
import killed_batch

SIZES_KB = (0, 16, 200, 500, 640, 760, 900)


def told() -> int:
    code = killed.command("batch", "haul", "--whole", "--workers", "1")
    Path(os.environ["TOLD"]).write_text(killed.output.getvalue(), "utf-8")
    return code


def content() -> dict[str, bytes]:
    found = {p.relative_to("haul"): p for p in Path("haul/graded").rglob("*") if p.is_file()}
    return {str(name): path.read_bytes() for name, path in sorted(found.items())}


def room() -> int:
    disk = os.statvfs(".")
    return disk.f_bavail * disk.f_frsize


def main(photos: Path) -> list[dict]:
    outcomes, whole = [], None
    say = Path(os.environ["TOLD"])
    for size_kb in (None, *SIZES_KB):
        for path in Path().iterdir():
            shutil.rmtree(path) if path.is_dir() else path.unlink()
        shutil.copytree(photos, "haul")
        if size_kb is None:
            killed_batch.learn_answers()
            assert killed.in_a_process(told) == 0, say.read_text("utf-8")
            whole = content()
            continue
        fill = Path("fill")
        fill.write_bytes(bytes(max(0, room() - 1024 * size_kb)))
        ended = killed.in_a_process(told)
        lines = [
            line for line in say.read_text("utf-8").splitlines() if line.startswith("grader: ")
        ]
        left = [str(path) for path in Path().rglob("*.part")]
        fill.unlink()
        again = killed.in_a_process(told)
        outcomes.append(
            {
                "room kB": size_kb, "ended": ended, "lines": lines, "left": left,
                "again works": again == 0, "same": content() == whole,
            }
        )  # fmt: skip
    return outcomes


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    os.chdir(sys.argv[1])
    print(json.dumps(main(Path(sys.argv[2]))))
