"""Other surfaces than stones of this kind: plain, grained, coursed ones, so that a crack is learned and not its ground.

Drawn from the renderer's parts: the same cracks, the same lines that are none, the same camera.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.render import marks
from grader.render.camera import draw_camera, expose
from grader.render.fracture import draw_fractures, draw_webs
from grader.render.growth import draw_growths
from grader.render.lines import draw_healed, draw_strays
from grader.render.noise import blur, cell_values, cells, fbm, grain, soft_step
from grader.render.overlaid import draw_overlaid
from grader.render.pigment import reflectance
from grader.render.sight import draw_seen, lightness_of, seen_points
from grader.render.stroke import Stroke, cover, mark_truth, paint, seen_truth
from grader.render.style import Style
from grader.render.truth import LINE_CODES

#: How often a surface is coursed (blocks with joints between them), painted in any hue, crossed by the edge of a shade.
COURSED, PAINTED, SHADED = 0.25, 0.2, 0.25
#: How much of what is coursed is tiled: joints in line, straight and thin; and how often a material is even, as glaze.
TILED, EVEN = 0.4, 0.2
#: How many cracks it bears, with what weight.
CRACKS = {0: 0.1, 1: 0.3, 2: 0.35, 3: 0.25}
#: Half of them are of these families, since a wall or a floor mostly breaks from side to side.
LONG = ("crossing", "from edge", "map", "branching")
#: How often it bears a web, healed lines and each of two lines that are none of its own.
WEB, HEALED, OVERLAID = 0.06, 0.12, 0.3


@dataclass(frozen=True)
class Surface:
    """A photo of a surface that fills the picture.

    rgb : (side, side, 3) uint8.   cracks : layer as in ``Rendered``.   materials : (side, side), 1 and 2, where two
    meet.   strays : (side, side) bool, lines that lie on it and can be seen.
    """

    rgb: NDArray[np.uint8]
    cracks: NDArray[np.uint8]
    materials: NDArray[np.uint8]
    strays: NDArray[np.bool_]


def draw_surface(rng: np.random.Generator, style: Style, side: int) -> Surface:
    """Return a surface of concrete, render, mortar, brick or cut rock with cracks on it, or none.

    Parameters
    ----------
    rng : source of all randomness.   style : which families, looks and overlaid lines may come up.
    side : px.
    """
    shape = (side, side)
    lab, height = _ground(rng, shape)
    materials = np.ones(shape, np.uint8)
    if rng.random() < COURSED:
        materials = _courses(rng, shape)
        other, low = _ground(rng, shape)
        joint = (materials == 2)[..., None]
        lab = np.where(joint, other, lab)
        sunk = blur((materials == 2).astype(np.float32), 1.2)
        height = height * (1 - sunk) + sunk * (low - rng.uniform(0, 4))
    reflect = reflectance(lab)
    inside = np.ones(shape, bool)
    if rng.random() < 0.4:
        marks.pits(rng, reflect, height, inside, side * rng.uniform(0.3, 1.2))
    if rng.random() < 0.1:
        marks.drill_hole(rng, reflect, height, inside, side * 0.5)
    strokes = _strokes(rng, style, side, materials)
    cracks = np.zeros(shape, np.uint8)
    stain = reflectance(np.float32([[[34, 12, 24]]]))[0, 0]
    for stroke in strokes:
        covered = cover(stroke, shape)
        paint(rng, reflect, height, stroke, cover(stroke, shape, faded=True), stain)
        if stroke.kind in LINE_CODES:
            mark_truth(cracks, stroke, covered, LINE_CODES[stroke.kind])
    rgb = _photographed(rng, style, np.clip(reflect, 0.002, 0.97), height)
    light = lightness_of(rgb)
    shows = [_visible(light, stroke) for stroke in strokes]
    own = [
        s if stroke.kind in LINE_CODES else None for s, stroke in zip(shows, strokes, strict=True)
    ]
    strays = np.zeros(shape, np.uint8)
    for stroke, visible in zip(strokes, shows, strict=True):
        if stroke.kind not in LINE_CODES:
            draw_seen(strays, stroke.points, stroke.widths, visible)
    return Surface(rgb, seen_truth(cracks, tuple(strokes), own), materials, strays > 0)


def _visible(light: NDArray[np.float32], stroke: Stroke) -> NDArray[np.bool_]:
    at, (h, w) = np.round(stroke.points), light.shape
    on = np.all((at >= 0) & (at < (w, h)), axis=1)
    return seen_points(light, stroke.points, stroke.widths, on)


def _ground(rng, shape: tuple[int, int]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """CIELAB and height (px) of one material: a base tone, slow stains, grains of many sizes, grit."""
    side = shape[0]
    # Mostly grey to brown and brick; some are painted.
    chroma, hue = rng.choice([2.0, 6.0, 14.0, 30.0], p=[0.4, 0.3, 0.18, 0.12]), rng.uniform(30, 100)
    if rng.random() < PAINTED:
        chroma, hue = rng.uniform(3, 25), rng.uniform(0, 360)
    chroma, hue = chroma * rng.uniform(0.3, 1.3), np.deg2rad(hue)
    lab = np.empty((*shape, 3), np.float32)
    lab[:] = [rng.uniform(28, 85), chroma * np.cos(hue), chroma * np.sin(hue)]
    if rng.random() < EVEN:
        lab[..., 0] += grain(rng, shape, rng.uniform(0.5, 2)) * np.float32(rng.uniform(0.1, 1.2))
        return lab, np.zeros(shape, np.float32)
    slow = fbm(rng, shape, side * rng.uniform(0.2, 0.9), 5, rng.uniform(0.4, 0.65))
    lab[..., 0] += slow * np.float32(rng.uniform(0.5, 6))
    if rng.random() < 0.35:  # stains with a border of their own
        stain = soft_step(
            fbm(rng, shape, side * rng.uniform(0.1, 0.5), 5) - rng.uniform(0.2, 1.5), 0.4
        )
        lab += stain[..., None] * np.float32(
            [rng.uniform(-22, 14), rng.uniform(-2, 6), rng.uniform(-3, 10)]
        )
    height = fbm(rng, shape, rng.uniform(6, 60), 5, rng.uniform(0.4, 0.7)) * np.float32(
        rng.uniform(0, 1.2)
    )
    for _ in range(int(rng.integers(0, 4))):  # grains, from sand to gravel
        size = np.exp(rng.uniform(np.log(1.6), np.log(18)))
        distance, labels = cells(rng, shape, size * rng.uniform(1.5, 3.5))
        values = cell_values(rng, labels)
        hold = soft_step(size * (0.25 + 0.5 * values) - distance, 1.2) * (
            values > rng.uniform(0, 0.8)
        )
        tone = (cell_values(rng, labels) - 0.5) * np.float32(rng.uniform(4, 40)) + np.float32(
            rng.normal(0, 6)
        )
        lab[..., 0] += hold * tone
        height += hold * np.float32(rng.uniform(-0.3, 0.8))
    lab[..., 0] += grain(rng, shape, rng.uniform(0.4, 1.6)) * np.float32(rng.uniform(0.3, 5))
    height += grain(rng, shape, rng.uniform(0.6, 2.5)) * np.float32(rng.uniform(0, 0.5))
    if rng.random() < 0.2:  # layers or brush strokes
        run = fbm(rng, shape, (rng.uniform(2, 14), side), 3)
        turned = run if rng.random() < 0.5 else run.T
        lab[..., 0] += turned * np.float32(rng.uniform(1, 7))
        height += turned * np.float32(rng.uniform(0, 0.5))
    lab[..., 0] = np.clip(lab[..., 0], 5, 97)
    return lab, height.astype(np.float32)


def _courses(rng, shape: tuple[int, int]) -> NDArray[np.uint8]:
    """1 for blocks, 2 for the joints between them; rows level or turned, edges uneven."""
    h, w = shape
    turn = rng.normal(0, 0.12) + rng.choice([0, np.pi / 2], p=[0.8, 0.2])
    y, x = np.mgrid[:h, :w].astype(np.float32)
    c, s = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    wander = rng.uniform(0.2, 2.5)
    u = c * x + s * y + wander * fbm(rng, shape, rng.uniform(5, 30), 3)
    v = c * y - s * x + wander * fbm(rng, shape, rng.uniform(5, 30), 3)
    tiled = rng.random() < TILED
    if tiled:
        u, v = c * x + s * y, c * y - s * x
    tall = rng.uniform(0.18, 0.8) * h
    long, gap = tall * rng.uniform(1.2, 3.2), np.clip(tall * rng.uniform(0.03, 0.2), 2, 26)
    if tiled:
        long, gap = tall * rng.uniform(0.8, 1.6), rng.uniform(1.5, 7)
    row = np.floor(v / tall) * (not tiled)
    across = (u + long / 2 * (row % 2) + rng.uniform(0, long)) % long
    return np.where((v % tall < gap) | (across < gap), 2, 1).astype(np.uint8)


def _strokes(rng, style: Style, side: int, materials: NDArray[np.uint8]) -> list[Stroke]:
    """Cracks and other lines in any order; they come in from beyond the picture and leave it."""
    inside = np.ones((side, side), bool)
    radius = side * rng.uniform(0.45, 1.1)
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    outline = side / 2 + np.stack([np.cos(t), np.sin(t)], 1) * side * 0.72
    count = int(rng.choice(list(CRACKS), p=list(CRACKS.values())))
    wanted = tuple(
        (
            str(rng.choice(LONG)) if rng.random() < 0.5 else style.draw(rng, "fractures"),
            style.draw(rng, "crack_looks"),
        )
        for _ in range(count)
    )
    grown = radius * float(np.exp(rng.uniform(np.log(0.5), np.log(2.5))))
    strokes = [
        Stroke(**{**s.__dict__, "widths": s.widths * np.clip(grown / radius, 0.6, 2.5)})
        for s in draw_fractures(rng, wanted, outline, inside, radius, None, materials)
    ]
    if rng.random() < WEB:
        strokes += draw_webs(rng, ("web",), outline, inside, radius, None)
    for kind in style.growths:
        if kind in ("veins", "knotted web") and rng.random() < WEB:
            strokes += draw_growths(rng, (kind,), outline, inside, radius, materials, None)
    if rng.random() < HEALED:
        strokes += draw_healed(rng, 1, outline, inside, radius)
    kinds = tuple(style.draw(rng, "overlaid") for _ in range(2) if rng.random() < OVERLAID)
    strokes += draw_overlaid(rng, kinds, outline.mean(0), radius)
    strays = [k for k in ("scratch", "hair", "pencil", "print", "ticks") if rng.random() < 0.06]
    strokes += draw_strays(rng, strays, outline, radius)
    return [strokes[i] for i in rng.permutation(len(strokes))]


def _photographed(
    rng, style: Style, reflect: NDArray[np.float32], height: NDArray[np.float32]
) -> NDArray[np.uint8]:
    """Light from one side, at times with the edge of a shade across it, seen by a phone."""
    side = height.shape[0]
    turn, low = rng.uniform(0, 2 * np.pi), rng.uniform(0.1, 0.9)
    dy, dx = np.gradient(height)
    light = 1 - np.float32(low) * np.clip(dx * np.cos(turn) + dy * np.sin(turn), -1.2, 1.2)
    if rng.random() < SHADED:
        y, x = np.mgrid[:side, :side].astype(np.float32)
        edge = (x - side / 2) * np.cos(turn * 3) + (y - side / 2) * np.sin(turn * 3)
        edge += rng.uniform(0, 12) * fbm(rng, height.shape, side * 0.2, 4) + side * rng.uniform(
            -0.3, 0.3
        )
        light *= 1 - np.float32(rng.uniform(0.2, 0.65)) * soft_step(edge, rng.uniform(1, 40))
    tint = np.exp(rng.normal(0, 0.06, 3)).astype(np.float32)
    linear = (
        reflect * np.clip(light, 0.05, 2.2)[..., None] * tint * np.float32(rng.uniform(0.7, 1.2))
    )
    camera = draw_camera(rng, style.draw(rng, "pipelines"), 1.0, None)
    return expose(rng, camera, linear.astype(np.float32))
