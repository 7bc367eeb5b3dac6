"""Every parser of what others may hand in, each with a text that it accepts: for tests and fuzzing."""

from pathlib import Path

from grader.deals.weighing import read_weighings
from grader.errors import GraderError
from grader.grading.calls.calls_csv import read_calls_csv
from grader.grading.calls.comparisons_csv import read_comparisons_csv
from grader.profile import load_profile, profile_text
from grader.settings import load_settings
from grader.spots import read_spots_csv
from grader.trade.parcel import read_boxes
from grader.trade.prices import read_price_table
from grader.weight import read_weights

NOW = "2026-03-07T10:00:00+00:00"
CALLS = """photo,piece,grade,scene,note,box
IMG_1.jpg,1,select,80,"blue, white",10 20 30 40
IMG_1.jpg,2,waste,,,
"""
PRICES = """currency = "EUR"
begins = 2026-03-01
per = "kg"
[by_weight]
tumbling = 12.50
select = { any = 20, "40x30" = 35.5 }
[singles]
select = 2.5
[off]
"5kg" = 10
[chips]
"500g" = 3.50
"""
SETTINGS = """by = "Nell"
decider = "Nell"
unit = "lb"
currency = "EUR"
profile = "banded"
density = [2.6, 2.65]
mm_per_px = 0.05
[breaking]
loss = [0.01, 0.03]
"""
BOXES = """begins = 2026-03-01
packing = "90g"
fill = [0.4, 0.6]
[[boxes]]
name = "small"
inside = "30x20x15 cm"
most = "4lb"
to = "abroad"
"""
#: Read how, from which text: it need not be accepted as it is, only garbled ever more.
READERS = {
    "calls.csv": (lambda p: read_calls_csv(p, load_profile().grades, NOW), CALLS),
    "comparisons.csv": (
        lambda p: read_comparisons_csv(p, NOW),
        "better_photo,better_piece,other_photo,other_piece\nIMG_1.jpg,1,IMG_2.jpg,1\n",
    ),
    "weights.csv": (read_weights, "piece,weight\n1,612 g\n2,1.35lb\n3;1,35 kg\n"),
    "weighings.csv": (
        lambda p: read_weighings(p, None, "g"),
        "piece,weight\n07-001,612g\n07-113,1.35lb\n",
    ),
    "spots.csv": (
        read_spots_csv,
        "photo,x,y,w,h,class\nIMG_1.jpg,120,44,9,9,blue\nIMG_1.jpg,50,60,12,12,white\n",
    ),
    "prices.toml": (lambda p: read_price_table(_text(p), str(p)), PRICES),
    "boxes.toml": (lambda p: read_boxes(_text(p), str(p)), BOXES),
    "grader.toml": (lambda p: load_settings(p.parent), SETTINGS),
    "kind.toml": (load_profile, profile_text("banded")[1]),
}


def _text(path: Path) -> str:
    try:
        return path.read_text("utf-8")
    except UnicodeDecodeError as err:
        raise GraderError(f"{path}: not UTF-8", "input") from err
