"""``python -m grader.render.samples``: the photos in ``sample_images/``, their manifest and their truth.

The scenario is invented: a place, its people and their stones that do not exist. Needs the extra ``test`` (it writes HEIC).
"""

import argparse
import hashlib
import json
from pathlib import Path

import numpy as np

from grader.files import write_text
from grader.photo.colour import srgb_curve
from grader.render.files import write_photo
from grader.render.icc_profile import display_p3_profile
from grader.render.photograph import render_photo
from grader.render.truth import Rendered

SCENARIO = (
    "Invented: Nell Tarrow and Osk Brandel dig banded rough on the Quillbrook claim and sort it over two evenings. "
    "No such place, people or stones exist; all photos are renders."
)
WIDTH_PX, HEIGHT_PX = 1280, 960

#: name: (what it shows, seed, choices for the renderer, choices for the file). Seeds were picked by eye.
SAMPLES: dict[str, tuple[str, int, dict, dict]] = {
    "01_lake_over_shore.jpg": ("wet slab with a landscape", 11, {"stones": 1, "kind": "slab", "pattern": "landscape", "state": "wet", "ground": "grey felt", "fill": 0.4, "cracks": 0, "glare": False}, {}),
    "02_two_pieces.jpg": ("two pieces apart", 12, {"stones": 2, "kind": "slab", "pattern": "coarse bands", "ground": "wood", "fill": 0.35, "touching": False}, {}),
    "03_evening_tray.jpg": ("a tray of twelve", 13, {"stones": 12, "ground": "tray", "fill": 0.5}, {}),
    "04_dry_slab.jpg": ("a dry slab", 14, {"stones": 1, "kind": "slab", "pattern": "banded", "state": "dry", "ground": "cloth", "fill": 0.4, "cracks": 0}, {}),
    "05_wet_with_glare.jpg": ("a wet face that mirrors a lamp", 37, {"stones": 1, "kind": "cab", "pattern": "frothy", "state": "wet", "glare": True, "ground": "board", "fill": 0.45}, {}),
    "06_nothing_on_the_board.jpg": ("no stone, a ruler and a coin", 16, {"stones": 0, "ground": "board", "ruler": True, "coin": True}, {}),
    "07_blurred.jpg": ("out of focus", 17, {"stones": 1, "kind": "slab", "pattern": "folded", "fill": 0.4, "blur_px": 9.0, "ground": "grey paper"}, {}),
    "08_turned_phone.jpg": ("stored a quarter turn off", 18, {"stones": 1, "kind": "slab", "pattern": "landscape", "fill": 0.4, "ground": "brown felt"}, {"orientation": 6}),
    "09_wide_colour.jpg": ("colours written as Display P3", 19, {"stones": 1, "kind": "cab", "pattern": "coarse bands", "ground": "black felt", "fill": 0.3}, {"p3": True}),
    "10_from_the_phone.heic": ("a HEIC file", 20, {"stones": 3, "pattern": "banded", "ground": "wood", "fill": 0.35, "touching": False}, {}),
    "11_cracked.jpg": ("open cracks", 21, {"stones": 1, "kind": "slab", "pattern": "coarse bands", "cracks": 4, "healed": 0, "state": "dry", "fill": 0.45, "ground": "grey paper"}, {}),
    "12_healed_lines.jpg": ("healed lines, none open", 22, {"stones": 1, "kind": "slab", "pattern": "mottled", "cracks": 0, "healed": 3, "state": "dry", "fill": 0.45, "ground": "cloth"}, {}),
    "13_grey_host.jpg": ("grey host rock alone", 23, {"stones": 1, "kind": "chunk", "pattern": "grey only", "fill": 0.35, "ground": "wood"}, {}),
    "14_pale_blue.jpg": ("pale blue alone", 24, {"stones": 1, "kind": "cab", "pattern": "pale blue", "fill": 0.3, "ground": "brown felt"}, {}),
    "15_all_host.jpg": ("rusty host alone", 35, {"cut": False, "stones": 1, "kind": "chunk", "pattern": "all host", "host": "rusty", "fill": 0.35, "ground": "grey felt"}, {}),
    "16_ruler_in_frame.jpg": ("a ruler beside the stone", 26, {"stones": 1, "kind": "slab", "pattern": "fine bands", "ruler": True, "fill": 0.35, "ground": "grey felt"}, {}),
    "17_in_the_hand.jpg": ("held in a hand", 27, {"stones": 1, "kind": "chunk", "pattern": "coarse bands", "ground": "hand", "fill": 0.3}, {}),
    "18_on_the_dump.jpg": ("lying on rubble", 28, {"stones": 1, "kind": "chunk", "pattern": "frothy", "ground": "rubble", "fill": 0.35}, {}),
    "19_out_of_frame.jpg": ("runs out of the frame", 29, {"stones": 1, "kind": "slab", "pattern": "landscape", "cut": True, "fill": 0.4, "ground": "cloth"}, {}),
    "20_bright_seam.jpg": ("a bright seam across the host", 30, {"stones": 1, "kind": "slab", "pattern": "seam", "fill": 0.4, "ground": "board", "cracks": 0}, {}),
    "21_touching.jpg": ("five stones, some touching", 31, {"stones": 5, "touching": True, "ground": "grey felt", "fill": 0.45}, {}),
    "22_white_paper.png": ("a dark blue cab on white paper", 32, {"stones": 1, "kind": "cab", "pattern": "dark blue", "ground": "white paper", "fill": 0.3}, {"small": True}),
    "23_half_dried.jpg": ("half dried", 36, {"cut": False, "stones": 1, "kind": "slab", "pattern": "coarse bands", "state": "patchy", "fill": 0.45, "ground": "grey paper"}, {}),
    "24_second_lake.jpg": ("a landscape cab beside a card", 34, {"stones": 1, "kind": "cab", "pattern": "landscape", "card": True, "fill": 0.28, "ground": "grey felt", "cracks": 0}, {}),
}  # fmt: skip


def write_samples(folder: Path) -> None:
    """Write all sample photos, ``manifest.json`` and ``truth.npz`` (layers by photo name) into a folder."""
    rows, layers = [], {}
    for name, (shows, seed, choices, file) in SAMPLES.items():
        scale = 0.6 if file.get("small") else 1.0
        rendered = render_photo(
            np.random.default_rng(seed),
            width_px=round(WIDTH_PX * scale),
            height_px=round(HEIGHT_PX * scale),
            **choices,
        )
        rgb = _as_p3(rendered.rgb) if file.get("p3") else rendered.rgb
        icc = display_p3_profile() if file.get("p3") else None
        write_photo(folder / name, rgb, orientation=file.get("orientation", 1), icc=icc, quality=88)
        rows.append(_row(name, shows, seed, rendered, folder))
        for layer in ("regions", "pieces", "cracks"):
            layers[f"{name}/{layer}"] = getattr(rendered, layer)
    np.savez_compressed(folder / "truth.npz", **layers)
    manifest = {"scenario": SCENARIO, "licence": "MIT, as the project", "photos": rows}
    write_text(folder / "manifest.json", json.dumps(manifest, indent=1) + "\n")


def _row(name: str, shows: str, seed: int, rendered: Rendered, folder: Path) -> dict:
    h, w = rendered.pieces.shape
    stones = [
        {
            "id": s.id, "box": list(s.box), "kind": s.kind, "pattern": s.pattern, "state": s.state,
            "shares": {k: round(v, 4) for k, v in s.shares.items()}, "glare_share": round(s.glare_share, 4),
            "cracks": sum(line.kind == "crack" and line.piece == s.id for line in rendered.lines),
            "cut_by_frame": s.cut_by_frame,
        }
        for s in rendered.stones
    ]  # fmt: skip
    return {
        "file": name, "shows": shows, "seed": seed, "width": w, "height": h, "mm_per_px": round(rendered.mm_per_px, 5),
        "sha256": hashlib.sha256((folder / name).read_bytes()).hexdigest(), "stones": stones,
    }  # fmt: skip


def _as_p3(rgb: np.ndarray) -> np.ndarray:
    """The same colours as Display P3 numbers (SMPTE EG 432-1 primaries, sRGB curve)."""
    # Inverse of the P3 to sRGB matrix for linear light in the reading tests.
    p3_to_srgb = np.array([[1.2249, -0.2249, 0], [-0.0421, 1.0421, 0], [-0.0196, -0.0786, 1.0983]])
    linear = np.clip(srgb_curve()[rgb] @ np.linalg.inv(p3_to_srgb).T, 0, 1)
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.rint(coded * 255).astype(np.uint8)


def main() -> None:
    ask = argparse.ArgumentParser(prog="python -m grader.render.samples", description=__doc__)
    ask.add_argument("--out", type=Path, default=Path("sample_images"))
    given = ask.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    write_samples(given.out)


if __name__ == "__main__":
    main()
