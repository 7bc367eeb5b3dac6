"""Things that lie beside the stones and are no stones: ruler, card, coin, a finger."""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.lens import View
from grader.render.noise import fbm
from grader.render.pigment import reflectance
from grader.render.shape import fill, slopes


def _lab(lightness: float, a: float = 0.0, b: float = 0.0) -> NDArray[np.float32]:
    return reflectance(np.float32([[[lightness, a, b]]]))[0, 0]


def ruler(rng: np.random.Generator, px_per_mm: float) -> NDArray[np.float32]:
    """Return a ruler's picture (h, w, 4), reflectance and cover, at ``px_per_mm``: ticks each mm, digits each cm."""
    long_mm, wide_mm = rng.uniform(90, 210), rng.uniform(14, 32)
    px = max(px_per_mm, 2.0)
    h, w = int(wide_mm * px), int(long_mm * px)
    body = [
        _lab(92, 0, 2),
        _lab(rng.uniform(55, 75), 1, rng.uniform(15, 32)),
        _lab(72),
        _lab(15),
        _lab(78, 2, 60),
    ][rng.integers(5)]
    ink = _lab(8) if body.mean() > 0.12 else _lab(92)
    marks = np.zeros((h, w), np.uint8)
    for mm in range(int(long_mm) - 4):
        x = int((mm + 2.5) * px)
        tall = {0: 0.42, 5: 0.3}.get(mm % 10, 0.19) * h
        cv2.line(marks, (x, 0), (x, int(tall)), 255, max(1, int(0.16 * px)), cv2.LINE_AA)
        if mm % 10 == 0:
            at = (int(x + 0.4 * px), int(0.72 * h))
            cv2.putText(
                marks,
                str(mm // 10),
                at,
                cv2.FONT_HERSHEY_SIMPLEX,
                0.1 * px,
                255,
                max(1, int(0.25 * px)),
                cv2.LINE_AA,
            )
    hold = (marks.astype(np.float32) / 255)[..., None]
    picture = np.ones((h, w, 4), np.float32)
    picture[..., :3] = body * (1 - hold) + ink * hold
    return picture


def card(rng: np.random.Generator, px_per_mm: float) -> NDArray[np.float32]:
    """Return a card of the size of a bank card (85.60 x 53.98 mm): patches of grey, a block pattern, lines of text."""
    px = max(px_per_mm, 1.5)
    h, w = int(53.98 * px), int(85.6 * px)
    picture = np.empty((h, w, 4), np.float32)
    picture[..., :3] = [_lab(93), _lab(55, 5, -30), _lab(30), _lab(70, -20, 10), _lab(80, 5, 40)][
        rng.integers(5)
    ]
    r = int(3.2 * px)
    cover = np.zeros((h, w), np.uint8)
    cv2.rectangle(cover, (r, 0), (w - r - 1, h - 1), 255, -1)
    cv2.rectangle(cover, (0, r), (w - 1, h - r - 1), 255, -1)
    for cx, cy in ((r, r), (w - r - 1, r), (r, h - r - 1), (w - r - 1, h - r - 1)):
        cv2.circle(cover, (cx, cy), r, 255, -1, cv2.LINE_AA)
    picture[..., 3] = cover.astype(np.float32) / 255
    if rng.random() < 0.6:
        for k, grey in enumerate((95, 75, 55, 35, 12)):
            picture[
                int(0.72 * h) : int(0.92 * h),
                int((0.08 + 0.17 * k) * w) : int((0.22 + 0.17 * k) * w),
                :3,
            ] = _lab(grey)
        blocks = rng.random((6, 6)) < 0.5
        mark = cv2.resize(
            blocks.astype(np.float32),
            (int(0.42 * h), int(0.42 * h)),
            interpolation=cv2.INTER_NEAREST,
        )[..., None]
        y, x = int(0.12 * h), int(0.08 * w)
        picture[y : y + mark.shape[0], x : x + mark.shape[1], :3] = mark * _lab(95) + (
            1 - mark
        ) * _lab(6)
    for k in range(3):
        y = int((0.2 + 0.12 * k) * h)
        cv2.line(
            picture,
            (int(0.5 * w), y),
            (int(rng.uniform(0.65, 0.92) * w), y),
            (0.1, 0.1, 0.1, 1),
            max(1, int(0.8 * px)),
        )
    return picture


def coin(rng: np.random.Generator, px_per_mm: float) -> NDArray[np.float32]:
    """Return a coin of 17 to 26 mm with a rim and a raised figure."""
    side = max(8, int(rng.uniform(17, 26) * max(px_per_mm, 1.0)))
    metal = [_lab(62, 1, 4), _lab(48, 14, 24), _lab(62, 4, 34)][rng.integers(3)]
    ys, xs = np.mgrid[0:side, 0:side].astype(np.float32)
    r = np.hypot(xs - side / 2, ys - side / 2) / (side / 2)
    figure = fbm(rng, r.shape, side * 0.35, 4) - 1.5 * r
    relief = 1.6 * (figure > -0.9) * (r < 0.72) + 2.0 * ((r > 0.88) & (r < 0.97))
    relief = cv2.GaussianBlur(relief.astype(np.float32), (0, 0), max(0.6, side / 60))
    light = 1 + 1.2 * np.clip(np.roll(relief, 1, 0) - np.roll(relief, -1, 1), -0.5, 0.7)
    picture = np.empty((side, side, 4), np.float32)
    picture[..., :3] = metal * light[..., None]
    picture[..., 3] = np.clip((1 - r) * side / 2 + 0.5, 0, 1)
    return picture


def lay(
    reflect: NDArray[np.float32],
    view: View,
    picture: NDArray[np.float32],
    centre: NDArray,
    angle: float,
    scale: float,
) -> NDArray[np.bool_]:
    """Lay a flat thing on the ground, in place; return where it lies.

    centre : table px.   scale : table px per px of the picture.
    """
    h, w = picture.shape[:2]
    c, s = np.cos(angle) * scale, np.sin(angle) * scale
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float64)
    on_table = (corners - (w / 2, h / 2)) @ np.array([[c, s], [-s, c]]) + centre
    on_photo = view.to_photo(on_table).astype(np.float32)
    # Over one thing the lens is nearly straight: a homography is good to a px.
    warp = cv2.getPerspectiveTransform(corners.astype(np.float32), on_photo)
    size = (reflect.shape[1], reflect.shape[0])
    laid = cv2.warpPerspective(
        picture, warp, size, flags=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    )
    cover = laid[..., 3:]
    reflect *= 1 - cover
    reflect += laid[..., :3] * cover
    return cover[..., 0] > 0.5


def finger(
    rng: np.random.Generator, tip: NDArray, back: NDArray, reach_px: float, thick_px: float
) -> NDArray[np.float64]:
    """Return the outline (n, 2), photo px, of a finger from outside along ``back`` (unit x, y) to ``tip``."""
    lean = rng.normal(0, 0.4)
    back = np.array(
        [
            back[0] * np.cos(lean) - back[1] * np.sin(lean),
            back[0] * np.sin(lean) + back[1] * np.cos(lean),
        ]
    )
    side = np.array([-back[1], back[0]])
    t = np.linspace(np.pi / 2, -np.pi / 2, 40)[:, None]
    round_end = tip + thick_px * (side * np.sin(t) - back * np.cos(t) * 1.2)
    far = tip + back * reach_px
    return np.vstack([round_end, far - side * thick_px * 1.15, far + side * thick_px * 1.15])


def draw_finger(rng: np.random.Generator, scene, outline: NDArray, thick_px: float) -> None:
    """Lay a finger over everything, in place: skin, a rounded back, hidden truth beneath."""
    shape = scene.ids.shape
    cover = fill(outline, shape)
    inside = (cover >= 0.5).astype(np.uint8)
    from_edge = cv2.distanceTransform(np.pad(inside, 1, mode="edge"), cv2.DIST_L2, 3)[1:-1, 1:-1]
    bulge = np.sqrt(np.clip(1 - (1 - np.clip(from_edge / thick_px, 0, 1)) ** 2, 0, 1)) * np.float32(
        thick_px
    )
    pores = fbm(rng, shape, 6, 2)
    nx, ny = slopes(cv2.GaussianBlur(bulge + pores * np.float32(0.4), (0, 0), 1.5))
    skin = reflectance(
        np.float32([[[rng.uniform(45, 74), rng.uniform(11, 19), rng.uniform(14, 23)]]])
    )[0, 0]
    ruddy = np.clip(1 - np.hypot(*_from(outline[20], shape)) / (2.5 * thick_px), 0, 1)[..., None]
    paint = (
        skin
        * (1 + np.float32(0.05) * pores)[..., None]
        * (1 - ruddy * np.float32([0.02, 0.14, 0.1]))
    )
    scene.reflect += cover[..., None] * (paint - scene.reflect)
    if rng.random() < 0.6:
        _draw_nail(scene, outline, thick_px, skin, (nx, ny))
    for layer, new in (
        (scene.nx, nx),
        (scene.ny, ny),
        (scene.mirror, 0),
        (scene.sheen, 0.4),
        (scene.through, 0.3),
        (scene.stone, 1),
        (scene.hollow, 1),
    ):
        layer += cover * (new - layer)
    for layer in (scene.ids, scene.regions, scene.cracks):
        layer[inside > 0] = 0


def _draw_nail(scene, outline: NDArray, thick_px: float, skin: NDArray, normals) -> None:
    """Set a paler, smoother nail behind the fingertip."""
    tip, far = outline[20], outline[-2:].mean(0)
    back = (far - tip) / np.linalg.norm(far - tip)
    dx, dy = _from(tip + back * thick_px * 1.0, scene.ids.shape)
    along, across = dx * back[0] + dy * back[1], -dx * back[1] + dy * back[0]
    inside = 1 - (
        (np.abs(along) / (0.85 * thick_px)) ** 3 + (np.abs(across) / (0.62 * thick_px)) ** 3
    )
    hold = np.clip(inside * 6, 0, 1)[..., None]
    pale = skin * np.float32([1.08, 1.05, 1.05]) + np.float32(0.03)
    scene.reflect += hold * (pale - scene.reflect)
    for normal in normals:
        normal *= 1 - np.float32(0.5) * hold[..., 0]


def _from(
    point: NDArray, shape: tuple[int, int]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return x and y of every px, counted from a point."""
    ys, xs = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    return xs - np.float32(point[0]), ys - np.float32(point[1])
