"""Prints how well colours agree between lights, with n and seed.

``python tests/benchmarks/light_figures.py [--seed N] [--rounds N] [--write]``: photos of swatches that are not on the
chart, worked out from spectra (``spectral.py``): seven cameras, six lights, fall-off, +-1 EV, each read in
four ways: with the chart alone, the chart and a uniform paper border, the paper border alone, and as it is.
A swatch that is burnt out in the photo is left out: no way could read it.
"""

import argparse
from collections import defaultdict

import cv2
import numpy as np
import spectral as sp
import tables
from numpy.typing import NDArray
from speed import decoded_to_lab, seconds_of
from tables import Row

from grader.face.sight.cut import cut_face
from grader.photo import chart
from grader.photo.chart import (
    EDITIONS,
    find_chart,
    fit_correction,
    read_chart,
    reference_linear,
)
from grader.photo.colour import delta_e_2000, linear_srgb, srgb_encoding
from grader.photo.icc import encoding_of_profile
from grader.photo.light import field_from, hard_shadow, white_from
from grader.photo.photo import Photo
from grader.photo.pieces import whole_photo
from grader.photo.reference import find_reference
from grader.photo.surface import read_state
from grader.photo.verdict import Framing, judge_photo
from grader.profile import load_profile
from grader.render import HELD_OUT, render_photo
from grader.render.icc_profile import display_p3_profile

ENCODINGS = {False: srgb_encoding(), True: encoding_of_profile(display_p3_profile(), 256)}
STONES = 30
WAYS = ("chart", "chart and paper", "paper", "as it is")


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--seed", type=int, default=4)
    asked.add_argument("--rounds", type=int, default=2, help="photos per camera and light")
    asked.add_argument("--faces", type=int, default=150, help="renders for the hard shadow")
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    args = asked.parse_args()
    cv2.setNumThreads(1)
    print(f"seed {args.seed}")
    print_polynomials(args.seed)
    rows = [*print_lights(args.seed, args.rounds), *print_shadows(args.seed, args.faces)]
    rows += time_rows(args.seed)
    print(tables.as_table(rows))
    if args.write:
        tables.write("light", rows)


def print_polynomials(seed: int) -> None:
    """Matrix against root-polynomial, both by the same least squares, on spectra not on the chart."""
    rng = np.random.default_rng([seed, 1])
    left = defaultdict(list)
    for light in sp.LIGHTS:
        for camera in range(len(sp.cameras())):
            shot = sp.draw_shot(rng, light, camera)
            spectra = _swatches(rng)
            patches, sound = _at_points(sp.chart_reflectances(), shot)
            rgb, readable = _at_points(spectra, shot)
            truth = sp.lab_of(sp.true_linear(spectra))
            best = min(
                (fit_correction(patches, edition, sound) for edition in EDITIONS),
                key=lambda fit: fit.remaining_mean,
            )
            matrix = _matrix_fit(patches[sound], reference_linear(best.edition)[sound])
            for name, fixed in (("3x3", rgb @ matrix.T), ("root-polynomial", best.apply(rgb))):
                left[name].append(delta_e_2000(sp.lab_of(fixed), truth)[readable])
    print("\ncorrection, even light, spectra not on the chart: CIEDE2000 median / 95 %")
    for name, values in left.items():
        print(f"  {name:16s} {_two(values)}  n {len(values)} photos")


def _matrix_fit(rgb: NDArray, goal: NDArray) -> NDArray[np.float64]:
    """Return a (3, 3) matrix by the same weights as the correction's: what it is compared with."""
    slopes = chart._difference_slopes(goal)
    rows = np.einsum("nij,nk->nijk", slopes, rgb).reshape(3 * len(rgb), -1)
    aims = np.einsum("nij,nj->ni", slopes, goal).ravel()
    return np.linalg.lstsq(rows, aims, rcond=None)[0].reshape(3, 3)


def _at_points(reflectances: NDArray, shot: sp.Shot) -> tuple[NDArray, NDArray]:
    """Return linear sRGB as filed, in even light, and which of it is not burnt out."""
    light = sp.phone_linear(reflectances, shot)
    return sp.filed(light, shot), (sp.codes_of(light) < 250).all(axis=1)


def print_lights(seed: int, rounds: int) -> list[Row]:
    """The four ways, per light, on whole pictures; and their rows."""
    rng = np.random.default_rng([seed, 2])
    left = {way: defaultdict(list) for way in WAYS}
    offsets, remaining, notes = defaultdict(list), [], defaultdict(int)
    for light in sp.LIGHTS:
        for camera in range(len(sp.cameras())):
            for _ in range(rounds):
                shot, spectra = sp.draw_shot(rng, light, camera), _swatches(rng)
                scene = sp.lay_scene(rng, len(spectra))
                paper = sp.paper_reflectance(rng.uniform(-8, 0))
                rgb = sp.take(rng, scene, shot, spectra, paper)
                notes["photos"] += 1
                for way, (truth, read, stone) in _read(
                    rgb, scene, shot, spectra, notes, remaining
                ).items():
                    left[way][light].append(delta_e_2000(truth, read))
                    offsets[way].append((read - truth)[stone])
    print("\nswatches of whole photos: CIEDE2000 median / 95 % per light, then over all")
    for way in WAYS:
        per = "  ".join(f"{light} {_two(left[way][light])}" for light in sp.LIGHTS)
        everything = [d for light in sp.LIGHTS for d in left[way][light]]
        print(f"  {way:16s} {per}  all {_two(everything)}  n {len(everything)}")
    print("  " + ", ".join(f"{name} {count}" for name, count in notes.items()))
    print(
        f"  mean CIEDE2000 left on the chart: 50 % {np.median(remaining):.2f}, most {max(remaining):.2f}"
    )
    for way in WAYS:
        reach = np.percentile(np.abs(np.concatenate(offsets[way])), 95, axis=0) / 1.96
        print(f"  L*, a*, b* of stone colours: 95 % lie within 1.96 x {reach.round(1)}, {way}")
    floors = {"chart": "≤ 2 / ≤ 5", "paper": "≤ 5 / –"}
    rows = []
    for way in WAYS:
        by_light = [left[way][light] for light in sp.LIGHTS]
        medians = [float(np.median(np.concatenate(values))) for values in by_light if values]
        everything = [d for values in by_light for d in values]
        rows.append(
            Row(
                f"colours by {way}: CIEDE2000, median / 95 %",
                f"photos simulated from spectra not on the chart, seed {seed}",
                f"{len(everything)} photos",
                _two(everything),
                f"medians of the lights {min(medians):.2f} to {max(medians):.2f}",
                floors.get(way, ""),
            )
        )
    return rows


def _read(rgb, scene, shot, spectra, notes, remaining) -> dict[str, tuple]:
    """Return by way the true and the read CIELAB of the swatches, and which are stone colours."""
    encoding = ENCODINGS[shot.p3]
    linear = linear_srgb(rgb, encoding)
    h, w = rgb.shape[:2]
    x, y = np.arange(w) + 0.5, np.arange(h)[:, None] + 0.5
    inner = scene.inner(sp.FIRST_SWATCH, len(spectra))
    sound = _means((rgb >= 250).any(axis=2)[..., None], inner, len(spectra))[:, 0] < 0.02
    truth = sp.lab_of(sp.true_linear(spectra))

    def score(light: NDArray) -> tuple[NDArray, NDArray, NDArray]:
        read = sp.lab_of(_means(light, inner, len(spectra)))
        return truth[sound], read[sound], np.flatnonzero(sound) >= len(spectra) - STONES

    border = cv2.erode(scene.mask(sp.PAPER).astype(np.uint8), np.ones((9, 9))) > 0
    field = field_from(linear, border, w, h)
    light = np.ones_like(linear) if field is None else field.at(x, y)
    found = {"as it is": score(linear)}
    white = white_from(linear, border, "paper", light=light)
    notes["paper burnt out"] += white.source != "paper"
    if white.source == "paper":
        found["paper"] = score(white.apply(linear / light))
    sighting = find_chart(rgb, encoding)
    if sighting is None:
        notes["chart not found"] += 1
        return found
    for way, given in (("chart", None), ("chart and paper", field)):
        reading = read_chart(sighting, given)
        if reading.correction is None:
            notes["chart not used"] += 1
            continue
        remaining.append(reading.correction.remaining_mean)
        found[way] = score(reading.correction.apply(linear / reading.field.at(x, y)))
    return found


def _means(picture: NDArray, labels: NDArray, count: int) -> NDArray[np.float64]:
    """Return the mean of (H, W, c) within each label 0 to ``count`` - 1; (count, c)."""
    inside = labels < count
    here = labels[inside]
    sums = [np.bincount(here, channel[inside], count) for channel in np.moveaxis(picture, -1, 0)]
    return np.stack(sums, axis=1) / np.bincount(here, minlength=count)[:, None]


def _swatches(rng: np.random.Generator) -> NDArray[np.float64]:
    return np.concatenate([sp.other_reflectances(), sp.stone_reflectances(rng, STONES)])


def _two(values: list[NDArray]) -> str:
    if not values:
        return "-"
    together = np.concatenate(values)
    return f"{np.median(together):.2f} / {np.percentile(together, 95):.2f}"


def print_shadows(seed: int, faces: int) -> list[Row]:
    """Hard shadows found on renders onto which one was multiplied, and said on those as they are; and their rows."""
    found, falsely, n = 0, 0, 0
    for number in range(faces):
        rng = np.random.default_rng([seed, 3, number])
        drawn = render_photo(rng, HELD_OUT, width_px=640, height_px=480, stones=1, fill=0.5)
        if not drawn.stones or min(drawn.stones[0].box[2:]) < 100:
            continue
        x, y, w, h = drawn.stones[0].box
        mask = drawn.pieces[y : y + h, x : x + w] == drawn.stones[0].id
        face = linear_srgb(drawn.rgb[y : y + h, x : x + w], srgb_encoding())
        falsely += hard_shadow(face, mask) is not None
        found += hard_shadow(face * _shadow(rng, mask)[..., None], mask) is not None
        n += 1
    print(
        f"\nhard shadow, held-out renders: found {found / n:.0%}, said falsely {falsely / n:.1%}, n {n}"
    )
    measured_on = f"held-out renders, seed {seed}"
    return [
        Row(
            "hard shadow told, share",
            f"{measured_on}, a shadow laid over",
            str(n),
            f"{found / n:.2f}",
        ),
        Row(
            "hard shadow told where there is none, share", measured_on, str(n), f"{falsely / n:.3f}"
        ),
    ]


def _shadow(rng: np.random.Generator, mask: NDArray) -> NDArray[np.float32]:
    """Return the light, (h, w), of a straight shadow over part of a face: darker by 1.8 to 4."""
    rows, columns = np.nonzero(mask)
    turn, factor = rng.uniform(0, 2 * np.pi), rng.uniform(1.8, 4)
    y, x = np.indices(mask.shape)
    off = (x - columns.mean()) * np.cos(turn) + (y - rows.mean()) * np.sin(turn)
    off -= rng.uniform(-0.25, 0.25) * np.sqrt(mask.sum())
    lit = 1 / (1 + np.exp(-np.clip(off / rng.uniform(0.5, 2.5), -50, 50)))
    return (1 / factor + (1 - 1 / factor) * lit).astype(np.float32)


def time_rows(seed: int) -> list[Row]:
    """All that is read of light, scale, state and sharpness, on 12 megapixels that one stone fills, one thread.

    In R: decoding the file and turning it to Lab. With a chart, and with the chart covered by grey.
    """
    rng = np.random.default_rng([seed, 4])
    shot, spectra = sp.draw_shot(rng, "D65", 0), _swatches(rng)
    scene = sp.lay_scene(rng, len(spectra))
    small = sp.take(rng, scene, shot, spectra, sp.paper_reflectance(-4))
    covered = small.copy()
    places = scene.places[::2, ::2]
    covered[(places > sp.PAPER) & (places < sp.FIRST_SWATCH)] = 60
    limits, rows = load_profile().limits, []
    for name, rgb in (("chart", small), ("no chart", covered)):
        large = cv2.resize(rgb, (4000, 3000), interpolation=cv2.INTER_CUBIC)
        data = cv2.imencode(".jpg", large[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
        photo = Photo("timed", large, ENCODINGS[shot.p3], "")
        piece = whole_photo(photo)[0][0]

        def unit(data=data) -> None:
            decoded_to_lab(data)

        def read(photo=photo, piece=piece) -> None:
            reference = find_reference(photo)
            face = cut_face(photo, piece, reference)
            clear = np.zeros(face.mask.shape, bool)
            state = read_state(face.linear, face.lab, face.mask, clear)
            judge_photo(
                face.linear,
                face.lab,
                face.mask,
                clear,
                glare_share=0.0,
                framing=Framing(False, face.px_per_photo_px, face.mm_per_px),
                state=state,
                limits=limits,
            )

        ratio = np.array([seconds_of(read) / seconds_of(unit) for _ in range(6)][1:])
        rows.append(
            Row(
                f"light, scale, state and verdict of 12 megapixels, {name}, R",
                "one simulated photo, one thread",
                f"{len(ratio)} rounds",
                f"{np.median(ratio):.2f} (R = {seconds_of(unit):.2f} s)",
                f"most {ratio.max():.2f}",
                "≤ 2",
            )
        )
    return rows


if __name__ == "__main__":
    main()
