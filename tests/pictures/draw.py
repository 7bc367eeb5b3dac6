"""Draws the pictures of README from the sample photos: ``python tests/pictures/draw.py`` from the repository.

Look at each before it is kept: a test only sees that they have not changed since.
"""

import sys
from contextlib import redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np

from grader.cli.main import app

HERE = Path(__file__).parent
SAMPLES = HERE.parents[1] / "sample_images"
#: Longest side of a kept picture, px.
SIDE_PX = 900
#: By name, the command that draws it; its last argument is where it is written.
COMMANDS = {
    "check": ("check", SAMPLES / "02_two_pieces.jpg", "--picture"),
    "counted": ("check", SAMPLES / "01_lake_over_shore.jpg", "--view", "regions", "--picture"),
    "cutplan": ("cutplan", SAMPLES / "04_dry_slab.jpg", "--picture"),
}


def drawn(name: str, folder: Path) -> np.ndarray:
    """Return a picture, sBGR uint8, drawn now."""
    path = folder / f"{name}.png"
    told = StringIO()
    with redirect_stdout(told), redirect_stderr(told):
        try:
            code = app([*map(str, COMMANDS[name]), str(path), "--no-ledger"], standalone_mode=False)
        except SystemExit as end:
            code = end.code
    if code:
        raise RuntimeError(told.getvalue())
    picture = cv2.imread(str(path))
    factor = min(1.0, SIDE_PX / max(picture.shape))
    return cv2.resize(picture, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)


def main() -> None:
    with TemporaryDirectory() as folder:
        for name in sys.argv[1:] or COMMANDS:
            cv2.imwrite(
                str(HERE / f"{name}.jpg"), drawn(name, Path(folder)), [cv2.IMWRITE_JPEG_QUALITY, 85]
            )
            print(HERE / f"{name}.jpg")


if __name__ == "__main__":
    main()
