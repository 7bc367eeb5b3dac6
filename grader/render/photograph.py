"""A whole photo: stones laid out on a ground, beside things that are no stones, lit, seen, filed; with exact truth."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.measures import UNREADABLE
from grader.render import props
from grader.render.bands import band_truth
from grader.render.camera import Camera, balance, draw_camera, expose
from grader.render.ground import Ground, Table, draw_ground
from grader.render.layout import place
from grader.render.lens import View, draw_view
from grader.render.light import SIDE, Lighting, cast, draw_lighting, fall_off, mirror_picture, shade
from grader.render.noise import blur
from grader.render.stone import StoneFace, StonePlan, draw_stone
from grader.render.style import STATES, TRAINING, Style, weighted
from grader.render.truth import (
    BLUE,
    HOST,
    WHITE,
    BandTruth,
    DrawnLine,
    Rendered,
    StoneTruth,
    reading_order,
)

MARKS = {"dust": 0.14, "bruise": 0.12, "pits": 0.16, "specks": 0.14, "drill hole": 0.07}
STRAYS = {"scratch": 0.1, "hair": 0.08, "pencil": 0.06}


def render_photo(
    rng: np.random.Generator, style: Style = TRAINING, *, width_px: int = 1200, height_px: int = 900,
    stones: int | None = None, kind: str | None = None, state: str | None = None, pattern: str | None = None,
    host: str | None = None, ground: str | None = None, lamp: str | None = None, pipeline: str | None = None,
    cracks: int | None = None, healed: int | None = None, strays: bool | None = None, ruler: bool | None = None,
    card: bool | None = None, coin: bool | None = None, finger: bool | None = None, touching: bool | None = None,
    cut: bool | None = None, fill: float | None = None, blur_px: float | None = None,
    mm_per_px: float | None = None,
) -> Rendered:  # fmt: skip
    """Return a rendered photo with its truth; what is left ``None`` is drawn at random from the style.

    Parameters
    ----------
    rng : source of all randomness; the same state gives the same arrays.
    style : which entries of the catalogue may come up.
    stones : how many, 1 to 30.   kind : "slab", "chunk" or "cab".   state : "dry", "wet" or "patchy".
    pattern : a family of the catalogue, among them "pale blue", "dark blue", "all white", "all host", "grey only";
        "banded" is any of the parallel ones.   cracks, healed : how many per stone.
    fill : share of the photo that the stones cover together; above 1 one face fills the picture.
    blur_px : sigma of the lens blur.   mm_per_px : scale at the middle of the photo.
    """
    ways = dict(
        zip(
            ("plan", "view", "ground", "light", "camera", "props", "noise"),
            rng.spawn(7),
            strict=True,
        )
    )
    unit = width_px / 1200
    view = draw_view(ways["view"], width_px, height_px)
    chosen = {
        "kind": kind, "state": state, "pattern": pattern, "host": host, "cracks": cracks, "healed": healed,
        "strays": strays,
    }  # fmt: skip
    count = stones if stones is not None else _count(ways["plan"])
    layout = place(ways["plan"], view, count, kind, fill, touching, cut)
    if len(layout.spots) > 1 and ways["plan"].random() < 0.6:  # stones of one find look alike
        chosen["pattern"] = pattern or style.draw(ways["plan"], "patterns")
        chosen["host"] = host or style.draw(ways["plan"], "hosts")
        chosen["dye_seed"] = int(ways["plan"].integers(2**31))
    plans = [_plan(ways["plan"], style, spot, chosen) for spot in layout.spots]
    faces = [face for plan in plans if (face := draw_stone(ways["plan"], plan, view)) is not None]
    scale = mm_per_px if mm_per_px is not None else _scale(ways["props"], layout.spots)
    names = {
        "ground": ground or style.draw(ways["ground"], "grounds"),
        "lamp": lamp or style.draw(ways["light"], "lamps"),
        "pipeline": pipeline or style.draw(ways["camera"], "pipelines"),
    }
    table = Table(*view.table_grid((0, 0, width_px, height_px)), unit)
    base = draw_ground(ways["ground"], names["ground"], table)
    laid = _lay_props(
        ways["props"], base, view, scale, {"ruler": ruler, "card": card, "coin": coin}
    )
    scene = _Scene.of(base, table.shape)
    for number, face in enumerate(faces, start=1):
        scene.add(face, number)
    outline = _finger(ways["props"], scene, view, layout, finger)
    lighting = draw_lighting(ways["light"], names["lamp"])
    camera = draw_camera(ways["camera"], names["pipeline"], unit, blur_px)
    body, mirrored = _light_up(ways["light"], scene, faces, lighting, camera, view, outline)
    rgb = expose(ways["noise"], camera, body + mirrored)
    glare = _hidden(body, mirrored) & (scene.ids > 0)
    features = _features(names, laid, layout, outline, camera)
    return _with_truth(rgb, scene, faces, glare, scale, view, features)


def _count(rng: np.random.Generator) -> int:
    return int(
        rng.choice(
            [1, rng.integers(2, 5), rng.integers(5, 13), rng.integers(13, 31)],
            p=[0.62, 0.2, 0.11, 0.07],
        )
    )


def _plan(rng: np.random.Generator, style: Style, spot, chosen: dict) -> StonePlan:
    """Draw what one stone shall be. Every draw is made even where it is not needed, so that a choice changes only itself."""
    state = weighted(rng, STATES)
    state = chosen["state"] or ("wet" if spot.kind == "cab" and state == "patchy" else state)
    pattern = style.draw(rng, "patterns")
    if chosen["pattern"] == "banded":
        pattern = str(rng.choice(["fine bands", "coarse bands", "folded", "faulted"]))
    elif chosen["pattern"]:
        pattern = chosen["pattern"]
    host = style.draw(rng, "hosts")
    count = int(rng.choice([0, 1, 2, 3, 4], p=[0.45, 0.25, 0.15, 0.1, 0.05]))
    families = tuple(style.draw(rng, "cracks") for _ in range(12))
    calm = int(rng.choice([0, 1, 2, 3], p=[0.55, 0.25, 0.13, 0.07]))
    marks = frozenset(name for name, chance in MARKS.items() if rng.random() < chance)
    strays = [name for name, chance in STRAYS.items() if rng.random() < chance]
    if rng.random() < 0.3 and spot.kind == "slab":
        strays.append("saw mark")
    if chosen["strays"] is not None:
        strays = strays or ["scratch", "hair"] if chosen["strays"] else []
    contact = rng.random() < 0.22
    dye_seed = int(rng.integers(2**31))
    count = count if chosen["cracks"] is None else int(chosen["cracks"])
    if spot.kind == "cab":
        count = count if chosen["cracks"] is not None or rng.random() < 0.5 else 0
        marks -= {"bruise", "dust"} if rng.random() < 0.8 else set()
    return StonePlan(
        spot.kind, spot.outline, spot.centre, spot.radius, pattern, chosen["host"] or host, state, families[:count],
        calm if chosen["healed"] is None else int(chosen["healed"]), contact, tuple(strays), marks, chosen.get("dye_seed", dye_seed),
    )  # fmt: skip


def _scale(rng: np.random.Generator, spots) -> float:
    """Return mm per px such that the largest stone has the size of such stones."""
    largest = max(spots, key=lambda s: s.radius)
    mm = {"cab": (9, 30), "slab": (28, 90), "chunk": (18, 75)}[largest.kind]
    return float(np.exp(rng.uniform(*np.log(mm))) / largest.radius)


@dataclass
class _Scene:
    """The table as the camera sees it, before light: all layers of the photo's shape."""

    reflect: NDArray[np.float32]
    nx: NDArray[np.float32]
    ny: NDArray[np.float32]
    mirror: NDArray[np.float32]
    sheen: NDArray[np.float32]
    through: NDArray[np.float32]
    hollow: NDArray[np.float32]
    stone: NDArray[np.float32]
    ids: NDArray[np.uint8]
    regions: NDArray[np.uint8]
    cracks: NDArray[np.uint8]
    ground_mean: NDArray[np.float32]

    @classmethod
    def of(cls, ground: Ground, shape: tuple[int, int]) -> "_Scene":
        zero = [np.zeros(shape, np.float32) for _ in range(4)]
        codes = [np.zeros(shape, np.uint8) for _ in range(3)]
        return cls(
            ground.reflect, ground.nx, ground.ny, zero[0], np.full(shape, np.float32(ground.mirror)), zero[1],
            np.ones(shape, np.float32), zero[2], *codes, ground.reflect[::8, ::8].reshape(-1, 3).mean(0),
        )  # fmt: skip

    def add(self, face: StoneFace, number: int) -> None:
        """Lay a stone over what is there."""
        x, y, w, h = face.box
        box = (slice(y, y + h), slice(x, x + w))
        a = face.cover
        for layer, new in (
            (self.nx, face.nx), (self.ny, face.ny), (self.mirror, face.mirror), (self.sheen, face.sheen),
            (self.through, np.float32(face.through)), (self.hollow, face.hollow), (self.stone, np.float32(1)),
        ):  # fmt: skip
            layer[box] += a * (new - layer[box])
        self.reflect[box] += a[..., None] * (face.reflect - self.reflect[box])
        inside = a >= 0.5
        self.ids[box][inside] = number
        self.regions[box][inside] = face.classes[inside]
        self.cracks[box][inside] = face.cracks[inside]


def _lay_props(rng, ground: Ground, view: View, mm_per_px: float, chosen: dict) -> dict[str, bool]:
    """Lay ruler, card and coin on the ground; return which lie in the photo."""
    chances = {"ruler": 0.14, "card": 0.1, "coin": 0.1}
    makers = {"ruler": props.ruler, "card": props.card, "coin": props.coin}
    there = {}
    for name, chance in chances.items():
        wanted = rng.random() < chance
        way = rng.spawn(1)[0]
        there[name] = wanted if chosen[name] is None else bool(chosen[name])
        if not there[name]:
            continue
        px_per_mm = 1 / mm_per_px
        drawn_at = float(np.clip(px_per_mm, 2.0, 16.0))
        picture = makers[name](way, drawn_at)
        half = np.array([view.width, view.height]) / 2
        side = way.integers(4)
        edge = np.array([[0, -1], [1, 0], [0, 1], [-1, 0]])[side] * half * way.uniform(0.72, 0.95)
        along = np.array([[1, 0], [0, 1], [1, 0], [0, 1]])[side] * half * way.uniform(-0.6, 0.6)
        angle = (0 if side % 2 == 0 else np.pi / 2) + way.normal(0, 0.12)
        where = props.lay(ground.reflect, view, picture, edge + along, angle, px_per_mm / drawn_at)
        for layer in (ground.nx, ground.ny):
            layer[where] *= 0.1
        there[name] = bool(where.any())
    return there


def _finger(rng, scene: _Scene, view: View, layout, chosen: bool | None) -> NDArray | None:
    """Let a finger touch a stone; return its outline in the photo."""
    wanted = rng.random() < 0.06
    way = rng.spawn(1)[0]
    if not (wanted if chosen is None else chosen):
        return None
    spot = layout.spots[int(way.integers(len(layout.spots)))]
    a = way.uniform(0, 2 * np.pi)
    rim = spot.centre + spot.radius * way.uniform(0.7, 1.0) * np.array([np.cos(a), np.sin(a)])
    thick = view.width * way.uniform(0.03, 0.09)
    outline = props.finger(
        way, view.to_photo(rim), np.array([np.cos(a), np.sin(a)]), view.width + view.height, thick
    )
    props.draw_finger(way, scene, outline, thick)
    return outline


def _light_up(
    rng, scene: _Scene, faces, lighting: Lighting, camera: Camera, view: View, outline
) -> tuple[NDArray, NDArray]:
    """Return the light from the body and the mirrored light, exposed and balanced (1 is white)."""
    h, w = scene.ids.shape
    cast_by = [(view.to_photo(f.plan.outline + f.plan.centre), f.rise_px) for f in faces]
    if outline is not None:
        cast_by.append((outline, w * 0.03))
    shadows = []
    for lamp in lighting.lamps:
        reach = cast(cast_by, lamp, w, h)
        reach = reach + scene.stone * (1 - reach)
        shadows.append(reach * fall_off(rng, lamp, lighting.fall_off, w, h))
    hollow = scene.hollow * (1 - np.float32(0.55) * _contact(scene, faces))
    light = shade(lighting, scene.nx, scene.ny, scene.through, hollow, shadows, scene.ground_mean)
    whole = lighting.surround + sum(lamp.share * lamp.colour for lamp in lighting.lamps)
    gains = balance(whole, rng.uniform(0.65, 1.0)) * camera.gains * camera.exposure
    gains = (gains / whole.mean() * rng.uniform(0.8, 1.05)).astype(np.float32)
    body = scene.reflect * light * gains
    return body, _mirrored(rng, scene, faces, lighting, view) * gains


def _contact(scene: _Scene, faces) -> NDArray[np.float32]:
    """Return how much of the surround the stones hide from the ground close beside them."""
    h, w = scene.stone.shape
    small = cv2.resize(scene.stone, (w // 4, h // 4), interpolation=cv2.INTER_AREA)
    rise = np.median([f.rise_px for f in faces]) if faces else 1.0
    near = cv2.GaussianBlur(small, (0, 0), max(0.8, rise * 0.35 / 4))
    return cv2.resize(near, (w, h), interpolation=cv2.INTER_LINEAR) * (1 - scene.stone)


def _mirrored(rng, scene: _Scene, faces, lighting: Lighting, view: View) -> NDArray[np.float32]:
    """Return what the surfaces mirror of lamps and room, by their normals and where the camera stands."""
    picture = mirror_picture(rng, lighting, scene.ground_mean)
    h, w = scene.ids.shape
    grid = np.stack(np.meshgrid(np.linspace(0, w, 25), np.linspace(0, h, 19)), -1)
    towards = view.towards_camera(view.to_table(grid)).astype(np.float32)
    lean = cv2.resize(
        towards[..., :2] / (1 + towards[..., 2:]), (w, h), interpolation=cv2.INTER_LINEAR
    )
    half = np.float32((SIDE - 1) / 2)
    x = (np.clip(scene.nx - lean[..., 0], -0.99, 0.99) + 1) * half
    y = (np.clip(scene.ny - lean[..., 1], -0.99, 0.99) + 1) * half
    soft = blur(np.minimum(picture, 2.0), SIDE * 0.07)
    # A dull surface mirrors so little detail that half the px do.
    small = (w // 2, h // 2)
    dull = cv2.remap(soft, cv2.resize(x, small), cv2.resize(y, small), cv2.INTER_LINEAR)
    dull *= cv2.resize(scene.sheen, small, interpolation=cv2.INTER_AREA)[..., None]
    seen = cv2.resize(dull, (w, h), interpolation=cv2.INTER_LINEAR)
    for bx, by, bw, bh in (face.box for face in faces):
        box = (slice(by, by + bh), slice(bx, bx + bw))
        if scene.mirror[box].any():
            sharp = cv2.remap(picture, x[box], y[box], cv2.INTER_LINEAR)
            seen[box] += sharp * scene.mirror[box][..., None]
    return seen


def _hidden(body: NDArray, mirrored: NDArray) -> NDArray[np.bool_]:
    """Return where mirrored light hides the stone: it outshines the body, or drives the picture to white."""
    grey = np.float32([[1, 1, 1]]) / 3
    b, m = cv2.transform(body, grey), cv2.transform(mirrored, grey)
    return (m > 0.10) & ((m > 1.3 * b) | ((b + m > 0.97) & (m > 0.3 * b)))


def _features(names: dict, laid: dict, layout, outline, camera: Camera) -> dict[str, bool]:
    features = {f"{part} {name}": True for part, name in names.items()}
    features |= {name: there for name, there in laid.items()}
    features |= {
        "finger": outline is not None,
        "touching": layout.touching,
        "soft focus": camera.blur_px > 1.6,
    }
    return features


def _with_truth(
    rgb, scene: _Scene, faces: list[StoneFace], glare, mm_per_px: float, view: View, features
) -> Rendered:
    """Number the visible stones, and write down what is true of each."""
    boxes, kept = [], []
    for number in range(1, len(faces) + 1):
        mask = (scene.ids == number).astype(np.uint8)
        box = cv2.boundingRect(mask)
        if box[2] >= 3 and box[3] >= 3:
            boxes.append(tuple(int(v) for v in box))
            kept.append(number)
    order = reading_order(boxes)
    renumber = np.zeros(256, np.uint8)
    for new, place_ in enumerate(order, start=1):
        renumber[kept[place_]] = new
    pieces = renumber[scene.ids]
    regions = np.where(pieces > 0, np.where(glare, np.uint8(UNREADABLE), scene.regions), 0).astype(
        np.uint8
    )
    cracks = np.where(pieces > 0, scene.cracks, 0).astype(np.uint8)
    truths, lines = [], []
    for new, place_ in enumerate(order, start=1):
        face = faces[kept[place_] - 1]
        truths.append(_stone_truth(new, boxes[place_], face, regions, pieces, mm_per_px, view))
        lines += [
            DrawnLine(
                (s.points + face.box[:2]).astype(np.float32),
                float(np.median(s.widths)),
                s.kind,
                s.family,
                new,
            )
            for s in face.strokes
        ]
        features |= {name: True for name, there in _stone_features(face).items() if there}
    codes = regions[regions > 0]
    features |= {
        "cut by frame": any(t.cut_by_frame for t in truths), "glare": bool((codes == UNREADABLE).mean() > 0.002) if codes.size else False,
        "no blue": not (codes == BLUE).any(), "no white": not (codes == WHITE).any(), "no host": not (codes == HOST).any(),
        "one stone": len(truths) == 1, "many stones": len(truths) > 8,
    }  # fmt: skip
    features["absent class"] = features["no blue"] or features["no white"] or features["no host"]
    return Rendered(rgb, regions, pieces, cracks, tuple(lines), tuple(truths), mm_per_px, features)


def _stone_features(face: StoneFace) -> dict[str, bool]:
    plan = face.plan
    named = {
        f"kind {plan.kind}",
        f"pattern {plan.pattern}",
        f"state {plan.state}",
        f"host {plan.host}",
    }
    named |= (
        set(plan.marks)
        | {s.kind for s in face.strokes}
        | {f"crack {s.family}" for s in face.strokes if s.family}
    )
    return {name: True for name in named} | face.features


def _stone_truth(
    number: int, box, face: StoneFace, regions, pieces, mm_per_px: float, view: View
) -> StoneTruth:
    x, y, w, h = box
    part = (slice(y, y + h), slice(x, x + w))
    mine = pieces[part] == number
    codes = regions[part][mine]
    counts = np.bincount(codes, minlength=10)
    readable = max(1, int(counts[BLUE] + counts[WHITE] + counts[HOST]))
    fx, fy = face.box[0], face.box[1]
    step = max(1, int(np.sqrt(mine.sum() / 20000)))  # medians of colour need no more px than that
    lab = face.lab[y - fy : y - fy + h : step, x - fx : x - fx + w : step][mine[::step, ::step]]
    picked = regions[part][::step, ::step][mine[::step, ::step]]
    names = {"blue": BLUE, "white": WHITE, "host": HOST}
    colour = {
        name: _median_lch(lab[picked == code])
        for name, code in names.items()
        if (picked == code).any()
    }
    rust = lab[picked == HOST]
    rusty = float((np.hypot(rust[:, 1], rust[:, 2]) >= 9).mean()) if len(rust) else 0.0
    hosts = counts[HOST] / readable
    height_px, width_px = regions.shape
    return StoneTruth(
        id=number, box=box, area_px=int(mine.sum()), kind=face.plan.kind, pattern=face.plan.pattern,
        state=face.plan.state, shares={name: counts[code] / readable for name, code in names.items()},
        kinds={"rusty": hosts * rusty, "grey": hosts * (1 - rusty)},
        glare_share=float(counts[UNREADABLE] / max(1, mine.sum())), colour=colour,
        bands=_bands_seen(face, mm_per_px, view), mm_per_px=mm_per_px,
        cut_by_frame=x <= 0 or y <= 0 or x + w >= width_px or y + h >= height_px,
    )  # fmt: skip


def _median_lch(lab: NDArray[np.float32]) -> tuple[float, float, float]:
    lightness, a, b = (float(v) for v in np.median(lab, 0))
    return lightness, float(np.hypot(a, b)), float(np.degrees(np.arctan2(b, a)) % 360)


def _bands_seen(face: StoneFace, mm_per_px: float, view: View) -> BandTruth:
    figure, plan = face.figure, face.plan
    if figure.course is None or figure.stripes is None:
        return BandTruth()
    wide = 2 * plan.radius * mm_per_px
    truth = band_truth(
        figure.course,
        figure.stripes,
        face.grid.u,
        face.grid.v,
        face.classes,
        min(0.5, 1 / wide),
        face.grid.radius_px,
    )
    heading = np.array([np.cos(figure.course.angle), np.sin(figure.course.angle)])
    ends = view.to_photo(plan.centre + np.array([[-20], [20]]) * heading)
    dx, dy = ends[1] - ends[0]
    return BandTruth(
        **{**truth.__dict__, "direction_deg": float(np.degrees(np.arctan2(-dy, dx)) % 180)}
    )
