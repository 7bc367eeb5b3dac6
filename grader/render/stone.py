"""One stone's face in the photo's own px: shape, relief, pattern, marks, lines, water; and its exact truth."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from grader.render import marks
from grader.render.declared import DeclaredFace
from grader.render.fracture import draw_fractures, draw_webs
from grader.render.growth import draw_growths
from grader.render.lens import View
from grader.render.lines import draw_contacts, draw_cracks, draw_healed, draw_strays
from grader.render.noise import blur, fbm, grain, soft_step
from grader.render.overlaid import draw_overlaid
from grader.render.pattern import Figure, Grid, draw_pattern
from grader.render.pigment import Palette, draw_palette, lab_of, reflectance, wetted
from grader.render.shape import broken, depth_of, dome, fill, slopes, swell
from grader.render.stroke import Stroke, cover, mark_truth, paint
from grader.render.truth import BLUE, HOST, LINE_CODES, WHITE


@dataclass(frozen=True)
class StonePlan:
    """What one stone shall be.

    Attributes
    ----------
    kind, state, pattern, host : as in ``photograph.PhotoChoices``.
    outline : ndarray of shape (n, 2), x, y in table px around ``centre``.
    radius : of the circle of its area, table px.
    crack_families, healed, contact, strays, marks : what is drawn on it, by name or number.
    dye_seed : stones of one seed and pattern share their palette.
    line_seed : of the lines that follow.
    fractures, webs, overlaid, growths : fractures by family and look, webs, lines laid over the face, growths.
    declared : what it shall show, in place of a pattern drawn by lot.
    """

    kind: str
    outline: NDArray[np.float64]
    centre: NDArray[np.float64]
    radius: float
    pattern: str
    host: str
    state: str
    crack_families: tuple[str, ...] = ()
    healed: int = 0
    contact: bool = False
    strays: tuple[str, ...] = ()
    marks: frozenset[str] = frozenset()
    dye_seed: int = 0
    line_seed: int = 0
    fractures: tuple[tuple[str, str], ...] = ()
    webs: tuple[str, ...] = ()
    overlaid: tuple[str, ...] = ()
    growths: tuple[str, ...] = ()
    declared: DeclaredFace | None = None


@dataclass(frozen=True)
class StoneFace:
    """A drawn stone within its box of the photo; all layers (h, w) of that box.

    Attributes
    ----------
    plan : what it was drawn from.
    box : x, y, w, h in photo px.
    cover : 0 to 1, how much of each px is stone.
    reflect : (h, w, 3), linear rgb of the body, 0 to 1, water and dust considered.
    nx, ny : of the unit normals, x to the right, y down.
    mirror, sheen : strength of the sharp and of the blurred reflection.
    through : 0 to 1, how far light spreads inside.
    hollow : 0 to 1, how much of the surround's light reaches it.
    classes, cracks : truth layers, uint8 codes of ``truth``.
    wet : where it looks wet; a polished cab does all over.
    lab : (h, w, 3), CIELAB of the body.
    rise_px : greatest height above the table.
    figure, grid, strokes : the pattern, its coordinates, the lines.
    features : what occurs, by name.
    """

    plan: StonePlan
    box: tuple[int, int, int, int]
    cover: NDArray[np.float32]
    reflect: NDArray[np.float32]
    nx: NDArray[np.float32]
    ny: NDArray[np.float32]
    mirror: NDArray[np.float32]
    sheen: NDArray[np.float32]
    through: float
    hollow: NDArray[np.float32]
    classes: NDArray[np.uint8]
    cracks: NDArray[np.uint8]
    wet: NDArray[np.bool_]
    lab: NDArray[np.float32]
    rise_px: float
    figure: Figure
    grid: Grid
    strokes: tuple[Stroke, ...] = ()
    features: dict[str, bool] = field(default_factory=dict)


def draw_stone(rng: np.random.Generator, plan: StonePlan, view: View) -> StoneFace | None:
    """Return the stone as the camera sees it, unlit; ``None`` where it lies outside the photo."""
    # The order of these streams and of the draws from each is the seed's contract, as in ``photograph``.
    names = ("pattern", "relief", "colour", "lines", "marks", "water", "finish")
    streams = dict(zip(names, rng.spawn(len(names)), strict=True))
    outline = view.to_photo(plan.outline + plan.centre)
    box = _box(outline, view)
    if box is None:
        return None
    radius = plan.radius * view.scale_at(plan.centre)
    x, y = view.table_grid(box)
    grid = Grid(
        (x - np.float32(plan.centre[0])) / np.float32(plan.radius),
        (y - np.float32(plan.centre[1])) / np.float32(plan.radius),
        radius,
    )
    outline = outline - box[:2]
    cover_share = fill(outline, grid.shape)
    inside = cover_share >= 0.5
    figure = _figure(streams["pattern"], plan, grid)
    height, rind, rise = _relief(streams["relief"], plan, grid, outline, cover_share)
    if plan.declared is not None:
        rind = None
    if rind is not None:
        host = np.maximum(figure.host, rind)
        figure = replace(figure, host=host, white=figure.white * (1 - host))
    classes = _classes(figure, inside)
    palette = _palette(np.random.default_rng(plan.dye_seed), plan, figure)
    if plan.declared is not None and plan.declared.body is not None:
        lab = plan.declared.body(streams["colour"], grid)
    else:
        lab = _colour(streams["colour"], palette, figure, grid, rind)
    through = _through(streams["finish"], plan)
    reflect = _scattered(streams["colour"], reflectance(lab), radius, through)
    strokes, painters = _strokes(streams["lines"], plan, figure, outline, inside, classes, radius)
    if plan.declared is not None:
        own = _declared_strokes(streams["lines"], plan, view, box, inside, radius)
        strokes, painters = strokes + own, painters + [streams["lines"]] * len(own)
    glitter = _marks(streams["marks"], plan, reflect, height, inside, classes, radius)
    cracks = _painted(strokes, painters, reflect, height)
    wet, pool = _water(streams["water"], plan, grid, height)
    reflect, height = _finished(streams["finish"], plan, grid, reflect, height, wet)
    if "dust" in plan.marks:
        marks.dust(streams["marks"], reflect, height, radius)
    nx, ny = slopes(height)
    mirror, sheen = _shine(streams["finish"], plan, wet, glitter)
    return StoneFace(
        plan=plan,
        box=box,
        cover=cover_share,
        reflect=np.clip(reflect, 0.002, 0.97).astype(np.float32),
        nx=nx * (1 - pool),
        ny=ny * (1 - pool),
        mirror=mirror,
        sheen=sheen,
        through=through,
        hollow=_hollow(plan, height, radius),
        classes=classes,
        cracks=cracks,
        wet=(wet > 0.5) | (plan.kind == "cab"),
        lab=lab_of(reflect),
        rise_px=rise,
        figure=figure,
        grid=grid,
        strokes=tuple(strokes),
        features={
            "pool": bool(pool.max() > 0.5),
            "sparkles": plan.kind != "cab" and bool(wet.max() > 0.5),
        },
    )


def _figure(rng: np.random.Generator, plan: StonePlan, grid: Grid) -> Figure:
    if plan.declared is None:
        return draw_pattern(rng, plan.pattern, grid)
    return plan.declared.picture(rng, plan.declared.grid_mm(grid))


def _declared_strokes(
    rng: np.random.Generator, plan: StonePlan, view: View, box, inside, radius: float
) -> list[Stroke]:
    px_per_mm = plan.radius / plan.declared.radius_mm

    def to_patch(path_mm: NDArray) -> NDArray:
        return view.to_photo(plan.declared.on_table(path_mm) * px_per_mm + plan.centre) - box[:2]

    return plan.declared.strokes(rng, to_patch, inside, radius)


def _strokes(
    rng, plan: StonePlan, figure: Figure, outline, inside, classes, radius: float
) -> tuple[list[Stroke], list[np.random.Generator]]:
    """Return the lines of a face in the order in which they are painted, and the stream that paints each."""
    strokes = _lines(rng, plan, figure, outline, inside, classes, radius)
    painters = [rng] * len(strokes)
    # Lines that came to be drawn later have a stream of their own, so that the older ones stay as they are.
    rough_rng = np.random.default_rng([plan.line_seed, 2])
    for stroke in _rough_lines(rough_rng, plan, figure, outline, inside, classes, radius):
        at = int(rough_rng.integers(len(strokes) + 1))
        strokes.insert(at, stroke)
        painters.insert(at, rough_rng)
    return strokes, painters


def _painted(
    strokes: list[Stroke], painters: list[np.random.Generator], reflect: NDArray, height: NDArray
) -> NDArray[np.uint8]:
    """Paint the strokes on reflectance and height, in place; return their truth layer (h, w)."""
    cracks = np.zeros(height.shape, np.uint8)
    stain = reflectance(np.float32([[[34, 12, 24]]]))[0, 0]
    for stroke, rng in zip(strokes, painters, strict=True):
        covered = cover(stroke, height.shape)
        shown = covered if stroke.fade is None else cover(stroke, height.shape, faded=True)
        paint(rng, reflect, height, stroke, shown, stain)
        if stroke.kind in LINE_CODES:
            mark_truth(cracks, stroke, covered, LINE_CODES[stroke.kind])
    return cracks


def _finished(
    rng, plan: StonePlan, grid: Grid, reflect: NDArray, height: NDArray, wet: NDArray
) -> tuple[NDArray, NDArray]:
    """Return reflectance and height with the fine roughness that cut or break leaves, darkened where it is wet."""
    micro = grain(rng, grid.shape, 0.8) * np.float32(0.5) + grain(rng, grid.shape, 1.8)
    roughness = {"cab": 0.0, "slab": rng.uniform(0.02, 0.10), "chunk": rng.uniform(0.12, 0.4)}[
        plan.kind
    ]
    if plan.kind == "cab" and plan.state != "wet" and rng.random() < 0.25:
        roughness = 0.03
    height = height + micro * np.float32(roughness) * (1 - np.float32(0.55) * wet)
    if roughness:
        reflect = reflect * (1 + np.float32(0.5 * roughness) * micro * (1 - wet))[..., None]
    if plan.kind != "cab":
        reflect = reflect * (1 - wet[..., None]) + wetted(np.clip(reflect, 0, 1)) * wet[..., None]
    return reflect, height


def _shine(
    rng, plan: StonePlan, wet: NDArray, glitter: NDArray
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return how strongly a face mirrors sharply, and how strongly blurred."""
    polish = 1.0 if plan.kind == "cab" else 0.0
    polish *= rng.uniform(0.75, 1.0)
    mirror = np.clip(polish + wet * np.float32(0.9) + glitter * 6, 0, 8).astype(np.float32)
    sheen = np.clip(1 - mirror, 0.0, 1) * np.float32(rng.uniform(0.2, 0.8))
    if "dust" in plan.marks:
        return mirror * np.float32(0.4), sheen * np.float32(0.5)
    return mirror, sheen


def _hollow(plan: StonePlan, height: NDArray, radius: float) -> NDArray[np.float32]:
    """Return how much of the surround's light reaches each px: less in hollows, a polished dome has none."""
    low = np.zeros_like(height)
    if plan.kind != "cab":
        low = blur(height, max(1.5, radius * 0.03)) - height
    return np.clip(1 - low * np.float32(1.2 / max(2.0, radius * 0.03)), 0.35, 1.15)


def _box(outline: NDArray, view: View) -> tuple[int, int, int, int] | None:
    low = np.maximum(np.floor(outline.min(0)).astype(int) - 3, 0)
    high = np.minimum(np.ceil(outline.max(0)).astype(int) + 4, (view.width, view.height))
    if (high - low).min() < 4:
        return None
    return int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])


def _relief(rng, plan: StonePlan, grid: Grid, outline: NDArray, cover_share: NDArray):
    """Return height (px), weight of the weathered rind or None, and the greatest rise (px)."""
    radius = grid.radius_px
    if plan.kind == "cab":
        height = dome(rng, swell(outline, grid.shape), radius)
        return height, None, float(height.max())
    edge = depth_of(cover_share >= 0.5)  # where the frame cuts the stone there is no edge
    if plan.kind == "slab":
        bevel = max(1.5, radius * rng.uniform(0.006, 0.03))
        chips = np.clip(1 + 0.8 * fbm(rng, grid.shape, radius * 0.06, 4), 0.1, 3)
        height = -bevel * np.exp(-edge / (bevel * chips)) + radius * 0.002 * fbm(
            rng, grid.shape, radius * 0.4, 5, 0.6
        )
        crust = rng.random() < 0.25
        rind = None
        if crust:
            width = (
                radius
                * rng.uniform(0.03, 0.12)
                * np.clip(1 + 0.7 * fbm(rng, grid.shape, radius * 0.3, 5), 0.05, 3)
            )
            rind = soft_step(width - edge, max(1.5, radius * 0.015))
        return height.astype(np.float32), rind, radius * rng.uniform(0.05, 0.25)
    height, off = broken(rng, grid.u, grid.v, radius)
    height = height - radius * 0.12 * np.exp(-edge / (radius * rng.uniform(0.03, 0.1)))
    rind = None
    if rng.random() < 0.5:
        wander = fbm(rng, grid.shape, radius * 0.3, 5)
        width = radius * rng.uniform(0.02, 0.16) * np.clip(1 + 0.7 * wander, 0.05, 3)
        rind = soft_step(width - edge, max(1.5, radius * 0.015))
        if rng.random() < 0.6:
            rind = np.maximum(rind, soft_step(off - rng.uniform(0.08, 0.3) + 0.05 * wander, 0.03))
    return height.astype(np.float32), rind, radius * rng.uniform(0.3, 0.7)


def _classes(figure: Figure, inside: NDArray[np.bool_]) -> NDArray[np.uint8]:
    classes = np.where(figure.white > 0.5 * (1 - figure.host), WHITE, BLUE).astype(np.uint8)
    classes[figure.host > 0.5] = HOST
    classes[~inside] = 0
    return classes


def _palette(rng, plan: StonePlan, figure: Figure) -> Palette:
    palette = draw_palette(rng, plan.host if plan.pattern != "grey only" else "grey", *figure.dyes)
    if plan.declared is not None:
        for tones in (palette.blue, palette.white):
            tones[:, 1:] *= plan.declared.chroma_share
    return palette


def _colour(rng, palette: Palette, figure: Figure, grid: Grid, rind) -> NDArray[np.float32]:
    """Return CIELAB of the dry body: two tones per class, mottled, shifted by the pattern's own tone."""
    wander = np.clip(0.5 + 0.35 * grid.noise(rng, rng.uniform(0.3, 0.9), 5), 0, 1)
    mottle = grid.noise(rng, rng.uniform(0.04, 0.15), 4, 0.65)
    fine = grain(rng, grid.shape, 0.9)
    white, host = figure.white, figure.host
    blue = 1 - white - host
    lab = np.zeros((*grid.shape, 3), np.float32)
    for weight, tones in ((blue, palette.blue), (white, palette.white), (host, palette.host)):
        for i in range(3):
            lab[..., i] += weight * (tones[0, i] + (tones[1, i] - tones[0, i]) * wander)
    strength = blue * palette.mottling[0] + white * palette.mottling[1] + host * palette.mottling[2]
    lab[..., 0] += strength * (np.float32(0.8) * mottle + np.float32(0.45) * fine) + figure.tone * (
        1 - 0.3 * host
    )
    # Blue pales towards white, and both have depth: slow lighter and darker clouds.
    near_white = blur(white, max(1.0, grid.radius_px * rng.uniform(0.03, 0.12)))
    lab[..., 0] += blue * near_white * np.float32(rng.uniform(0, 14)) + grid.noise(
        rng, 0.7, 3
    ) * np.float32(rng.uniform(0.5, 3.5))
    colourful = 1 + np.float32(0.06) * mottle * (1 + 2 * host)
    lab[..., 1] *= colourful
    lab[..., 2] *= colourful
    if palette.host_name in ("speckled", "salmon") or rng.random() < 0.2:
        _speckle(rng, lab, host, grid)
    if rind is not None and rng.random() < 0.75:
        rust = np.float32([rng.uniform(28, 50), rng.uniform(8, 18), rng.uniform(14, 34)])
        rust = rust + (strength * mottle)[..., None] * np.float32([1, 0.3, 0.5])
        hold = (rind * np.float32(rng.uniform(0.6, 1)))[..., None]
        lab = lab * (1 - hold) + rust * hold
    if figure.deep is not None:
        lab[..., 0] -= (lab[..., 0] - 9) * figure.deep * blue * (lab[..., 0] > 9)
        fade = 1 - np.float32(0.45) * figure.deep * blue
        lab[..., 1] *= fade
        lab[..., 2] *= fade
    lab[..., 0] = np.clip(lab[..., 0], 4, 98)
    return lab


def _scattered(
    rng, reflect: NDArray[np.float32], radius: float, through: float
) -> NDArray[np.float32]:
    """Let light wander inside: every place takes on some of the colour around it."""
    near, wide = rng.uniform(0.006, 0.02), rng.uniform(0.04, 0.15)
    soft = np.float32(0.75) * blur(reflect, max(0.8, near * radius)) + np.float32(0.25) * blur(
        reflect, wide * radius
    )
    return reflect + np.float32(min(0.8, 0.1 + 1.2 * through)) * (soft - reflect)


def _speckle(rng, lab: NDArray, host: NDArray, grid: Grid) -> None:
    """Scatter dark and pale grains through the host."""
    size = rng.uniform(0.02, 0.08)
    dark = soft_step(grid.noise(rng, size, 5, 0.75) - rng.uniform(0.4, 1.3), 0.8) * host
    pale = soft_step(grid.noise(rng, size * 1.6, 5, 0.75) - rng.uniform(0.5, 1.4), 0.8) * host
    lab[..., 0] += (np.float32(24) - lab[..., 0]) * dark * np.float32(0.8)
    lab[..., 0] += (np.float32(74) - lab[..., 0]) * pale * np.float32(0.6)
    lab[..., 1:] *= (1 - 0.5 * np.maximum(dark, pale))[..., None]


def _lines(
    rng, plan: StonePlan, figure: Figure, outline, inside, classes, radius: float
) -> list[Stroke]:
    angle = figure.course.angle if figure.course is not None else None
    cracks = draw_cracks(rng, list(plan.crack_families), outline, inside, radius, angle)
    calm = draw_healed(rng, plan.healed, outline, inside, radius)
    if plan.contact:
        calm += draw_contacts(rng, (classes == HOST), inside, radius)
    strays = draw_strays(rng, list(plan.strays), outline, radius)
    # Lines that are no cracks pass under and over them: a gap around a crack would give it away.
    mixed = [*cracks, *calm, *strays]
    return [mixed[i] for i in rng.permutation(len(mixed))]


def _rough_lines(
    rng, plan: StonePlan, figure: Figure, outline, inside, classes, radius: float
) -> list[Stroke]:
    angle = figure.course.angle if figure.course is not None else None
    lines = draw_fractures(rng, plan.fractures, outline, inside, radius, angle, classes)
    lines += draw_webs(rng, plan.webs, outline, inside, radius, angle)
    lines += draw_overlaid(rng, plan.overlaid, outline.mean(0), radius)
    kinds = tuple(kind for kind in plan.growths if kind != "moss")
    return lines + draw_growths(rng, kinds, outline, inside, radius, classes, figure.course)


def _marks(
    rng, plan: StonePlan, reflect, height, inside, classes, radius: float
) -> NDArray[np.float32]:
    """Lay the marks on the face; return where specks mirror light."""
    glitter = np.zeros(reflect.shape[:2], np.float32)
    if "specks" in plan.marks:
        glitter = marks.specks(rng, reflect, reflect.shape[:2], radius)
    if "moss" in plan.growths:
        marks.moss(np.random.default_rng([plan.line_seed, 3]), reflect, classes, radius)
    if "pits" in plan.marks:
        marks.pits(rng, reflect, height, inside, radius)
    if "bruise" in plan.marks:
        marks.bruise(rng, reflect, height, inside, radius)
    if "drill hole" in plan.marks:
        marks.drill_hole(rng, reflect, height, inside, radius)
    return glitter


def _water(
    rng, plan: StonePlan, grid: Grid, height: NDArray
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return how wet each px is and where water stands in pools (0 to 1)."""
    patches = grid.noise(rng, rng.uniform(0.3, 0.8), 4)
    threshold = rng.uniform(-0.5, 0.5)
    pooled = rng.random() < 0.3
    low = blur(height, max(2.0, grid.radius_px * 0.05)) - height
    if plan.state == "dry":
        return np.zeros(grid.shape, np.float32), np.zeros(grid.shape, np.float32)
    wet = (
        np.ones(grid.shape, np.float32)
        if plan.state == "wet"
        else soft_step(patches - threshold, 0.25)
    )
    pool = np.zeros(grid.shape, np.float32)
    if pooled and plan.kind != "cab":
        deep = grid.noise(rng, 0.3, 3) + low / (grid.radius_px * 0.01)
        pool = soft_step(deep - 0.9, 0.12) * wet
    return wet, pool


def _through(rng, plan: StonePlan) -> float:
    return float(rng.uniform(0.05, 0.5)) if plan.kind == "cab" else float(rng.uniform(0, 0.15))
