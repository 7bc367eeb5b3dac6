"""A whole photo with exact truth: stones on a ground beside things that are no stones, lit, seen and filed."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.camera import Camera, balance, draw_camera, expose, filed_white, seen_by
from grader.render.declared import DeclaredFace
from grader.render.ground import Table, draw_ground
from grader.render.layout import Layout, Spot, place
from grader.render.lens import View, draw_view
from grader.render.light import (
    SIDE,
    Lighting,
    aimed,
    cast,
    draw_lighting,
    fall_off,
    mirror_picture,
    shade,
)
from grader.render.noise import blur
from grader.render.record import write_down
from grader.render.stone import StoneFace, StonePlan, draw_stone
from grader.render.style import STATES, TRAINING, Style, weighted
from grader.render.tabletop import Tabletop, lay_finger, lay_props
from grader.render.truth import Rendered

#: How often a stone bears each mark, and each line that is no part of it.
MARKS = {"dust": 0.14, "bruise": 0.12, "pits": 0.16, "specks": 0.14, "drill hole": 0.07}
STRAYS = {"scratch": 0.1, "hair": 0.08, "pencil": 0.06, "print": 0.05, "ticks": 0.04}
#: The same for a web of matrix and for seams along the bands, and the chance, taken twice, of a line laid over it.
WEBS, OVERLAID_CHANCE = {"web": 0.09, "growth seams": 0.1}, 0.16
#: The chance of each thing that grew with the stone, in a style that draws it.
GROWN = {
    "rim": 0.12, "band lines": 0.07, "veins": 0.08, "knotted web": 0.1, "moss": 0.05,
    "suture": 0.16, "ladder": 0.14, "rings": 0.14,
}  # fmt: skip


@dataclass(frozen=True)
class PhotoChoices:
    """What a rendered photo shall be; what is ``None`` is drawn at random from the style.

    Attributes
    ----------
    width_px, height_px : of the photo.
    stones : how many, 0 to 30 (fewer where no room is left).
    kind : "slab", "chunk" or "cab".
    state : "dry", "wet" or "patchy".
    pattern : a family of the catalogue, among them "pale blue", "dark blue", "all white", "all host",
        "grey only"; "banded" is any of the parallel ones.
    host, ground, lamp, pipeline : names of the catalogue.
    cracks, healed : how many per stone.
    strays : whether lines lie on the stones that are none of theirs.
    ruler, card, coin, finger : whether they lie in the photo.
    touching, cut : whether some stones touch, or leave the frame.
    fill : share of the photo that the stones cover together; above 1 one face fills the picture.
    blur_px : sigma of the lens blur.
    mm_per_px : scale at the middle of the photo.
    glare : a lamp stands where the first stone mirrors it; the stones are wet if no state is given.
    face : what the one stone of the photo shall show; ``mm_per_px`` and ``kind`` are then needed.
    """

    width_px: int = 1200
    height_px: int = 900
    stones: int | None = None
    kind: str | None = None
    state: str | None = None
    pattern: str | None = None
    host: str | None = None
    ground: str | None = None
    lamp: str | None = None
    pipeline: str | None = None
    cracks: int | None = None
    healed: int | None = None
    strays: bool | None = None
    ruler: bool | None = None
    card: bool | None = None
    coin: bool | None = None
    finger: bool | None = None
    touching: bool | None = None
    cut: bool | None = None
    fill: float | None = None
    blur_px: float | None = None
    mm_per_px: float | None = None
    glare: bool | None = None
    face: DeclaredFace | None = None


# The order of the draws below, and from which stream each is, is the seed's contract: whoever moves, adds or leaves out
# one changes every photo of every seed, so samples, examples and figures. A new draw gets a generator of its own.


def render_photo(rng: np.random.Generator, style: Style = TRAINING, **choices) -> Rendered:
    """Return a rendered photo with its truth.

    Parameters
    ----------
    rng : source of all randomness; the same state gives the same arrays.
    style : which entries of the catalogue may come up.
    choices : fields of ``PhotoChoices``.

    Raises
    ------
    TypeError
        A choice that there is not.
    """
    chosen = PhotoChoices(**choices)
    parts = ("plan", "view", "ground", "light", "camera", "props", "noise")
    streams = dict(zip(parts, rng.spawn(len(parts)), strict=True))
    unit = chosen.width_px / 1200
    view = draw_view(streams["view"], chosen.width_px, chosen.height_px)
    layout, plans = _plans(streams["plan"], style, view, chosen)
    drawn = [draw_stone(streams["plan"], plan, view) for plan in plans]
    faces = [face for face in drawn if face is not None]
    scale = chosen.mm_per_px
    if scale is None:
        scale = _scale(streams["props"], layout.spots)
    names = {
        "ground": chosen.ground or style.draw(streams["ground"], "grounds"),
        "lamp": chosen.lamp or style.draw(streams["light"], "lamps"),
        "pipeline": chosen.pipeline or style.draw(streams["camera"], "pipelines"),
    }
    table = Table(*view.table_grid((0, 0, chosen.width_px, chosen.height_px)), unit)
    base = draw_ground(streams["ground"], names["ground"], table)
    flat = {name: getattr(chosen, name) for name in ("ruler", "card", "coin")}
    laid = lay_props(streams["props"], base, view, scale, flat)
    top = Tabletop.bare(base)
    for number, face in enumerate(faces, start=1):
        top.add(face, number)
    outline = lay_finger(streams["props"], top, view, layout.spots, chosen.finger)
    lighting = _lighting(streams["light"], names["lamp"], faces, view, chosen.glare)
    camera = draw_camera(streams["camera"], names["pipeline"], unit, chosen.blur_px)
    body, sharp, white = _light_up(streams["light"], top, faces, lighting, camera, view, outline)
    rgb = expose(streams["noise"], camera, body + sharp)
    glare = _hidden(body, sharp, camera) & (top.ids > 0)
    features = _features(names, laid, layout, outline, camera)
    truth = write_down(rgb, top, faces, glare, scale, view, features)
    return replace(truth, white=filed_white(camera, white))


def _plans(
    rng: np.random.Generator, style: Style, view: View, chosen: PhotoChoices
) -> tuple[Layout, list[StonePlan]]:
    """Draw where the stones lie, and what each shall be."""
    if chosen.face is not None:
        spot = chosen.face.spot(rng, chosen.kind, chosen.mm_per_px)
        plan = replace(_plan(rng, style, spot, chosen, None), declared=chosen.face)
        return Layout((spot,), False), [replace(plan, marks=frozenset(), contact=False)]
    count = chosen.stones if chosen.stones is not None else _count(rng)
    layout = place(rng, view, count, chosen.kind, chosen.fill, chosen.touching, chosen.cut)
    if chosen.state is None and chosen.glare:
        chosen = replace(chosen, state="wet")
    dye_seed = None
    if len(layout.spots) > 1 and rng.random() < 0.6:  # stones of one find look alike
        pattern = chosen.pattern or style.draw(rng, "patterns")
        host = chosen.host or style.draw(rng, "hosts")
        chosen = replace(chosen, pattern=pattern, host=host)
        dye_seed = int(rng.integers(2**31))
    return layout, [_plan(rng, style, spot, chosen, dye_seed) for spot in layout.spots]


def _count(rng: np.random.Generator) -> int:
    return int(
        rng.choice(
            [1, rng.integers(2, 5), rng.integers(5, 13), rng.integers(13, 31)],
            p=[0.62, 0.2, 0.11, 0.07],
        )
    )


def _plan(
    rng: np.random.Generator, style: Style, spot: Spot, chosen: PhotoChoices, dye_seed: int | None
) -> StonePlan:
    """Draw what one stone shall be; ``dye_seed`` where it shares its palette.

    Every draw is made even where it is not needed, so that a choice changes only itself.
    """
    state = weighted(rng, STATES)
    state = chosen.state or ("wet" if spot.kind == "cab" and state == "patchy" else state)
    pattern = _pattern(rng, style, chosen.pattern)
    host = style.draw(rng, "hosts")
    count = int(rng.choice([0, 1, 2, 3, 4], p=[0.45, 0.25, 0.15, 0.1, 0.05]))
    families = tuple(style.draw(rng, "cracks") for _ in range(12))
    calm = int(rng.choice([0, 1, 2, 3], p=[0.55, 0.25, 0.13, 0.07]))
    marks = frozenset(name for name, chance in MARKS.items() if rng.random() < chance)
    strays = _strays(rng, spot, chosen.strays)
    contact = rng.random() < 0.22
    line_seed = int(rng.integers(2**31))
    count = count if chosen.cracks is None else int(chosen.cracks)
    if spot.kind == "cab":
        count = count if chosen.cracks is not None or rng.random() < 0.5 else 0
        marks -= {"bruise", "dust"} if rng.random() < 0.8 else set()
    fractures, webs, overlaid, growths = _rougher_lines(
        np.random.default_rng([line_seed, 1]), style, spot, chosen
    )
    return StonePlan(
        kind=spot.kind,
        outline=spot.outline,
        centre=spot.centre,
        radius=spot.radius,
        pattern=pattern,
        host=chosen.host or host,
        state=state,
        crack_families=families[:count],
        healed=calm if chosen.healed is None else int(chosen.healed),
        contact=contact,
        strays=tuple(strays),
        marks=marks,
        dye_seed=line_seed if dye_seed is None else dye_seed,
        line_seed=line_seed,
        fractures=fractures,
        webs=webs,
        overlaid=overlaid,
        growths=growths,
    )


def _pattern(rng: np.random.Generator, style: Style, wanted: str | None) -> str:
    pattern = style.draw(rng, "patterns")
    if wanted == "banded":
        return str(rng.choice(["fine bands", "coarse bands", "folded", "faulted"]))
    return wanted or pattern


def _strays(rng: np.random.Generator, spot: Spot, wanted: bool | None) -> list[str]:
    """Draw which lines lie on a stone that are none of its own."""
    strays = [name for name, chance in STRAYS.items() if rng.random() < chance]
    if rng.random() < 0.3 and spot.kind == "slab":
        strays.append("saw mark")
    if wanted is None:
        return strays
    return strays or ["scratch", "hair"] if wanted else []


def _rougher_lines(
    rng: np.random.Generator, style: Style, spot: Spot, chosen: PhotoChoices
) -> tuple[tuple[tuple[str, str], ...], tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Draw which fractures (family, look), webs, lines laid over it and growths a stone has, if left open."""
    count = int(rng.choice([0, 1, 2], p=[0.62, 0.27, 0.11]))
    if spot.kind == "cab" and rng.random() < 0.5:
        count = 0
    fractures = tuple(
        (style.draw(rng, "fractures"), style.draw(rng, "crack_looks")) for _ in range(count)
    )
    webs = tuple(name for name, chance in WEBS.items() if rng.random() < chance)
    overlaid = tuple(
        style.draw(rng, "overlaid") for _ in range(2) if rng.random() < OVERLAID_CHANCE
    )
    growths = tuple(name for name in style.growths if rng.random() < GROWN[name])
    return (
        fractures if chosen.cracks is None else (),
        webs if chosen.healed is None else (),
        overlaid if chosen.strays is None else (),
        growths if chosen.healed is None else (),
    )


def _scale(rng: np.random.Generator, spots: tuple[Spot, ...]) -> float:
    """Return mm per px such that the largest stone has the size of such stones."""
    if not spots:
        return float(rng.uniform(0.05, 0.25))
    largest = max(spots, key=lambda s: s.radius)
    mm = {"cab": (9, 30), "slab": (28, 90), "chunk": (18, 75)}[largest.kind]
    return float(np.exp(rng.uniform(*np.log(mm))) / largest.radius)


def _lighting(
    rng: np.random.Generator, name: str, faces: list[StoneFace], view: View, glare: bool | None
) -> Lighting:
    """Draw the lighting; at times, or where glare is asked for, with a lamp mirrored by a stone."""
    lighting = draw_lighting(rng, name)
    wanted = rng.random() < 0.2
    if not faces or not (wanted if glare is None else glare):
        return lighting
    face = faces[0]
    nx, ny = (float(np.median(n[face.cover > 0.5])) for n in (face.nx, face.ny))
    normal = np.array([nx, ny, np.sqrt(max(0.1, 1 - nx * nx - ny * ny))])
    return aimed(rng, lighting, normal, view.towards_camera(face.plan.centre))


def _light_up(
    rng, top: Tabletop, faces, lighting: Lighting, camera: Camera, view: View, outline
) -> tuple[NDArray, NDArray, NDArray]:
    """Return the light from body and sheen, that mirrored sharply, and of a white sheet, exposed and balanced."""
    h, w = top.ids.shape
    cast_by = [(view.to_photo(f.plan.outline + f.plan.centre), f.rise_px) for f in faces]
    if outline is not None:
        cast_by.append((outline, w * 0.03))
    shadows = []
    for lamp in lighting.lamps:
        reach = cast(cast_by, lamp, w, h)
        reach = reach + top.stone * (1 - reach)
        shadows.append(reach * fall_off(rng, lamp, lighting.fall_off, w, h))
    hollow = top.hollow * (1 - np.float32(0.55) * _contact(top, faces))
    light = shade(lighting, top.nx, top.ny, top.through, hollow, shadows, top.ground_mean)
    whole = lighting.surround + sum(lamp.share * lamp.colour for lamp in lighting.lamps)
    gains = balance(whole, rng.uniform(0.65, 1.0)) * camera.gains * camera.exposure
    gains = (gains / whole.mean() * rng.uniform(0.8, 1.05)).astype(np.float32)
    sheen, sharp = _mirrored(rng, top, faces, lighting, view)
    for face in faces:
        if face.plan.declared is not None and face.plan.declared.lamp_share > 0:
            x, y, w, h = face.box
            lamps = face.plan.declared.lamps(rng, face.cover) * face.cover
            sharp[y : y + h, x : x + w] += lamps[..., None] * lighting.lamps[0].colour
    return (top.reflect * light + sheen) * gains, sharp * gains, whole * gains


def _contact(top: Tabletop, faces) -> NDArray[np.float32]:
    """Return how much of the surround the stones hide from the ground close beside them."""
    h, w = top.stone.shape
    small = cv2.resize(top.stone, (w // 4, h // 4), interpolation=cv2.INTER_AREA)
    rise = np.median([f.rise_px for f in faces]) if faces else 1.0
    near = cv2.GaussianBlur(small, (0, 0), max(0.8, rise * 0.35 / 4))
    return cv2.resize(near, (w, h), interpolation=cv2.INTER_LINEAR) * (1 - top.stone)


def _mirrored(
    rng, top: Tabletop, faces, lighting: Lighting, view: View
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return what the surfaces mirror of lamps and room: blurred, as a matt surface does, and sharp.

    By their normals and by where the camera stands.
    """
    picture = mirror_picture(rng, lighting, top.ground_mean)
    h, w = top.ids.shape
    grid = np.stack(np.meshgrid(np.linspace(0, w, 25), np.linspace(0, h, 19)), -1)
    towards = view.towards_camera(view.to_table(grid)).astype(np.float32)
    lean = cv2.resize(
        towards[..., :2] / (1 + towards[..., 2:]), (w, h), interpolation=cv2.INTER_LINEAR
    )
    half = np.float32((SIDE - 1) / 2)
    x = (np.clip(top.nx - lean[..., 0], -0.99, 0.99) + 1) * half
    y = (np.clip(top.ny - lean[..., 1], -0.99, 0.99) + 1) * half
    soft = blur(np.minimum(picture, 2.0), SIDE * 0.07)
    # A dull surface mirrors so little detail that half the px do.
    small = (w // 2, h // 2)
    dull = cv2.remap(soft, cv2.resize(x, small), cv2.resize(y, small), cv2.INTER_LINEAR)
    dull *= cv2.resize(top.sheen, small, interpolation=cv2.INTER_AREA)[..., None]
    sheen = cv2.resize(dull, (w, h), interpolation=cv2.INTER_LINEAR)
    sharp = np.zeros_like(sheen)
    for bx, by, bw, bh in (face.box for face in faces):
        box = (slice(by, by + bh), slice(bx, bx + bw))
        if top.mirror[box].any():
            mirrored = cv2.remap(picture, x[box], y[box], cv2.INTER_LINEAR)
            # Boxes of stones that lie close overlap.
            sharp[box] = np.maximum(sharp[box], mirrored * top.mirror[box][..., None])
    return sheen, sharp


def _hidden(body: NDArray, sharp: NDArray, camera: Camera) -> NDArray[np.bool_]:
    """Return where sharply mirrored light hides the stone in the picture that the lens makes.

    It outshines the body, or drives the picture to white. The sheen of a matt face veils and does not hide.
    """
    grey = np.float32([[1, 1, 1]]) / 3
    b, m = (seen_by(camera, cv2.transform(light, grey)) for light in (body, sharp))
    return (m > 0.13) & ((m > b) | ((b + m > 0.97) & (m > 0.3 * b)))


def _features(names: dict, laid: dict, layout, outline, camera: Camera) -> dict[str, bool]:
    features = {f"{part} {name}": True for part, name in names.items()}
    return (
        features
        | laid
        | {
            "finger": outline is not None,
            "touching": layout.touching,
            "soft focus": camera.blur_px > 1.6,
        }
    )
