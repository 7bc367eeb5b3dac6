"""What the networks learn from: pictures and targets cut from renders, never from photographs."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray

from grader.face.regions.regions import LOOK_PX as REGIONS_PX
from grader.face.regions.regions import ROLES
from grader.measures import UNREADABLE
from grader.photo.colour import srgb_curve
from grader.photo.pieces import INPUT_PX as PIECES_PX
from grader.photo.pieces import MARGIN_SHARE
from grader.profile import Profile, load_profile
from grader.render import Style, render_photo
from grader.render.sight import draw_seen, lightness_of, seen_points
from grader.render.truth import (
    BLUE,
    CRACK,
    FAINT,
    HOST,
    LINE_CODES,
    PATTERN_LINE,
    WHITE,
    Rendered,
)
from grader.train.reflections import CHECKED, Lesson, Reflection, draw_reflections
from grader.train.surfaces import draw_surface
from grader.train.variety import other_ground, poorer, shaded_rim

#: Target value of a pixel that is off the stone: black for the network and left out of the loss.
IGNORE = 255
#: Target value of a pixel on the stone that teaches nothing: the network sees it, the loss does not ask.
UNJUDGED = 254
#: Side of a crop for the network of cracks, in working px.
CRACKS_PX = 256
_HALFWAY = (srgb_curve()[1:] + srgb_curve()[:-1]) / 2
#: How often a picture is given another ground, the look of a small web copy, and a cab a shaded rim.
OTHER_GROUND, POORER, SHADED_RIM = 0.5, 0.35, 0.7


@dataclass(frozen=True)
class Example:
    """One square picture for a network, shape (side, side, 3), uint8 sRGB, and its target, (side, side), uint8.

    pieces : 0 ground, from 1 on stone: 1 + 200 times the depth (distance inside / that of the deepest point).
    regions : place of the role, 3 for unreadable; off the stone ``IGNORE``, and the picture is black there.
    cracks : 0 no line, 1 crack, 2 pattern line, where none of these lies 4 a line that is none of the stone's and 3 a
    band border, ``UNJUDGED`` where a line of the stone is too faint to see; off the stone ``IGNORE``.
    glare : 1 where a mirrored light hides the stone, 0 where it does not, ``UNJUDGED`` under a veil.
    """

    picture: NDArray[np.uint8]
    target: NDArray[np.uint8]


def render_example_photo(rng: np.random.Generator, style: Style) -> Rendered:
    """Return a training photo: sizes, numbers of stones and states are drawn as they come."""
    side = int(rng.integers(700, 1300))
    wide = rng.choice([0.75, 1.0, 1.333])
    return render_photo(
        rng, style, width_px=round(side * wide**0.5), height_px=round(side / wide**0.5)
    )


def pieces_examples(rendered: Rendered, rng: np.random.Generator, closer: int = 2) -> list[Example]:
    """Return one look at the whole photo and closer looks at up to ``closer`` of its stones."""
    depth = _depth(rendered.pieces)
    h, w = rendered.pieces.shape
    boxes = [(0, 0, w, h)]
    stones = list(rendered.stones)
    rng.shuffle(stones)
    for stone in stones[:closer]:
        x, y, bw, bh = stone.box
        margin = max(bw, bh) * MARGIN_SHARE * rng.uniform(0.5, 2.0) + 4
        shift = rng.uniform(-0.3, 0.3, 2) * margin
        left, top = max(0, int(x - margin + shift[0])), max(0, int(y - margin + shift[1]))
        boxes.append(
            (left, top, min(w, int(x + bw + margin)) - left, min(h, int(y + bh + margin)) - top)
        )
    return [_pieces_example(rendered, depth, box, rng) for box in boxes]


def regions_examples(
    rendered: Rendered, profile: Profile, rng: np.random.Generator, most: int = 6
) -> list[Example]:
    """Return up to ``most`` faces of a photo."""
    stones = [s for s in rendered.stones if min(s.box[2:]) >= 40]
    rng.shuffle(stones)
    return [_regions_example(rendered, stone, profile, rng) for stone in stones[:most]]


def cracks_examples(rendered: Rendered, rng: np.random.Generator, most: int = 8) -> list[Example]:
    """Return up to ``most`` crops of a photo's faces.

    Half of them on cracks, a quarter on other lines, where there are any, and a quarter anywhere.
    Scratches, hairs, pencil and print are what they are for a stone: no line of it.
    """
    aims = rng.choice(["crack", "other", "any"], size=most, p=[0.5, 0.25, 0.25])
    strays = _strays(rendered)
    return [_aimed_example(rendered, strays, str(aim), rng) for aim in aims if rendered.stones]


def _strays(rendered: Rendered) -> NDArray[np.bool_]:
    """Where lines that are none of the stone's can be seen, (H, W)."""
    layer = np.zeros(rendered.pieces.shape, np.uint8)
    strays = [line for line in rendered.lines if line.kind not in LINE_CODES]
    light = lightness_of(rendered.rgb) if strays else None
    for line in strays:
        widths = np.full(len(line.points), line.width_px)
        draw_seen(layer, line.points, widths, seen_points(light, line.points, widths))
    return layer > 0


def surface_examples(rng: np.random.Generator, style: Style, count: int = 2) -> list[Example]:
    """Return crops of other surfaces that are stone all over, with targets as for cracks."""
    return [_surface_example(rng, style) for _ in range(count)]


def glare_examples(
    rendered: Rendered, rng: np.random.Generator, most: int = 4, lesson: Lesson = CHECKED
) -> list[Example]:
    """Return up to ``most`` faces of a photo, with all that lies on stones: lines, dirt, water."""
    stones = [s for s in rendered.stones if min(s.box[2:]) >= 60]
    rng.shuffle(stones)
    return [_glare_example(rendered, stone, rng, lesson.side_px) for stone in stones[:most]]


def reflection_examples(
    rng: np.random.Generator, style: Style, stones: int = 12, lesson: Lesson = CHECKED
) -> list[Example]:
    """Return faces that mirror lamps, or none, with targets as for glare: some of each of that many stones."""
    drawn = [picture for _ in range(stones) for picture in draw_reflections(rng, style, lesson)]
    return [_reflection_example(picture, rng, lesson.side_px) for picture in drawn]


def _pieces_example(
    rendered: Rendered, depth: NDArray, box: tuple[int, int, int, int], rng: np.random.Generator
) -> Example:
    x, y, w, h = box
    factor = PIECES_PX / max(w, h)
    size = (max(8, round(w * factor)), max(8, round(h * factor)))
    method = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    rgb = rendered.rgb[y : y + h, x : x + w]
    if rng.random() < OTHER_GROUND:
        rgb = other_ground(rgb, rendered.pieces[y : y + h, x : x + w] > 0, rng)
    rgb = cv2.resize(poorer(rgb, rng) if rng.random() < POORER else rgb, size, interpolation=method)
    stone = cv2.resize(
        (rendered.pieces[y : y + h, x : x + w] > 0).astype(np.float32), size, interpolation=method
    )
    deep = cv2.resize(depth[y : y + h, x : x + w], size, interpolation=method)
    target = np.where(stone > 0.5, 1 + np.rint(deep * 200), 0).astype(np.uint8)
    return Example(*_square(rgb, target, PIECES_PX))


def _regions_example(
    rendered: Rendered, stone, profile: Profile, rng: np.random.Generator
) -> Example:
    # A little of the ground is kept around the stone: what a dome mirrors, and what a rough outline takes in.
    x, y, w, h = _grown(stone.box, 0.04, rendered.pieces.shape)
    cut = np.s_[y : y + h, x : x + w]
    factor = REGIONS_PX / max(w, h)
    size = (max(8, round(w * factor)), max(8, round(h * factor)))
    method = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    rgb = rendered.rgb[cut]
    rgb = cv2.resize(poorer(rgb, rng) if rng.random() < POORER else rgb, size, interpolation=method)
    mask = _shrunk(rendered.pieces[cut] == stone.id, size, method) > 0.5
    if stone.kind == "cab" and rng.random() < SHADED_RIM:
        rgb = _coded(shaded_rim(srgb_curve()[rgb], mask, rng))
    codes = _most_of(rendered.regions[cut], size, method)
    target = np.full(codes.shape, IGNORE, np.uint8)
    for place, role in enumerate(ROLES):
        target[np.isin(codes, profile.codes(role))] = place
    target[codes == UNREADABLE] = len(ROLES)
    target[~mask] = IGNORE
    # The outline of a real photo is never exact: what it takes in of the ground is named as the stone beside it.
    reach = int(rng.integers(-3, 4))
    if reach:
        change = cv2.dilate if reach > 0 else cv2.erode
        mask = change(mask.astype(np.uint8), np.ones((3, 3)), iterations=abs(reach)) > 0
    target = np.where(mask, _nearest_name(target), IGNORE).astype(np.uint8)
    return Example(*_square(np.where(mask[..., None], rgb, 0), target, REGIONS_PX))


@dataclass(frozen=True)
class _Lines:
    """One stone at the size at which its lines are read: picture, and where what lies, each (h, w)."""

    rgb: NDArray[np.uint8]
    mask: NDArray[np.bool_]
    crack: NDArray[np.bool_]
    pattern: NDArray[np.bool_]
    faint: NDArray[np.bool_]
    codes: NDArray[np.uint8]
    factor: float

    @property
    def target(self) -> NDArray[np.uint8]:
        """0 no line, 1 crack, 2 pattern line, ``UNJUDGED`` or ``IGNORE``."""
        target = np.where(self.crack, 1, np.where(self.pattern, 2, 0)).astype(np.uint8)
        target[self.faint & (target == 0)] = UNJUDGED
        target[~self.mask] = IGNORE
        return target

    def crop(self, target: NDArray, centre: tuple[int, int] | None) -> Example:
        """The square around a place x, y, held inside the picture."""
        h, w = self.mask.shape
        left, top = (
            max(0, min(c - CRACKS_PX // 2, side - CRACKS_PX))
            for c, side in zip(centre or (0, 0), (w, h), strict=True)
        )
        part = np.s_[top : top + CRACKS_PX, left : left + CRACKS_PX]
        picture = np.where(self.mask[..., None], self.rgb, 0)
        return Example(*_square(picture[part], target[part], CRACKS_PX))


def _lines_of(rendered: Rendered, stone, rng: np.random.Generator) -> _Lines:
    x, y, w, h = stone.box
    cut = np.s_[y : y + h, x : x + w]
    # A face is never seen larger than its photo, but a smaller one leaves finer lines.
    factor = float(np.exp(rng.uniform(np.log(0.6), np.log(1.15))))
    size = (max(16, round(w * factor)), max(16, round(h * factor)))
    method = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    rgb = rendered.rgb[cut]
    rgb = cv2.resize(poorer(rgb, rng) if rng.random() < 0.2 else rgb, size, interpolation=method)
    mask = _shrunk(rendered.pieces[cut] == stone.id, size, method) > 0.5
    crack, pattern, faint = (
        (_shrunk(rendered.cracks[cut] == code, size, method) > 0.4) & mask
        for code in (CRACK, PATTERN_LINE, FAINT)
    )
    return _Lines(
        rgb, mask, crack, pattern, faint, _most_of(rendered.regions[cut], size, method), factor
    )


def _aimed_example(
    rendered: Rendered, on_it: NDArray[np.bool_], aim: str, rng: np.random.Generator
) -> Example:
    """A crop for cracks, centred on what is aimed at if the photo has any of it, else anywhere.

    In one piece, since each draw depends on those before it and their order is the seed's contract.
    """
    code = {"crack": CRACK, "other": PATTERN_LINE}.get(aim, 0)
    strays = [line for line in rendered.lines if line.kind not in LINE_CODES]
    on_stray = aim == "other" and strays and rng.random() < 0.5
    bearing = {line.piece for line in strays} if on_stray else set()
    if code and not on_stray:
        bearing = set(np.unique(rendered.pieces[rendered.cracks == code]).tolist()) - {0}
    stones = [s for s in rendered.stones if s.id in bearing] or list(rendered.stones)
    stone = stones[int(rng.integers(len(stones)))]
    lines = _lines_of(rendered, stone, rng)
    centre = None
    drawn = [line for line in strays if line.piece == stone.id]
    if on_stray and drawn:
        line = drawn[int(rng.integers(len(drawn)))]
        at = (line.points[int(rng.integers(len(line.points)))] - stone.box[:2]) * lines.factor
        centre = (int(at[0]), int(at[1]))
    elif code:
        centre = _one_of(lines.crack if code == CRACK else lines.pattern, rng, 1.0)
    x, y, w, h = stone.box
    own = _shrunk(on_it[y : y + h, x : x + w], lines.mask.shape[::-1], cv2.INTER_AREA) > 0.4
    target = lines.target
    target[(target == 0) & own] = 4
    target[(target == 0) & _borders(lines.codes)] = 3
    return lines.crop(target, centre or _one_of(lines.mask, rng, 1.0))


def _borders(codes: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Where two classes meet, one pixel to either side; the rim of glare is no border of the stone's own."""
    named = [
        cv2.dilate((codes == c).astype(np.uint8), np.ones((3, 3))) for c in (BLUE, WHITE, HOST)
    ]
    return (np.sum(named, axis=0) >= 2) & np.isin(codes, (BLUE, WHITE, HOST))


def _surface_example(rng: np.random.Generator, style: Style) -> Example:
    # Half a crop more at most: what lies on its rim is not always in it.
    factor = float(np.exp(rng.uniform(np.log(0.66), 0)))
    surface = draw_surface(rng, style, round(CRACKS_PX / factor))
    size = (CRACKS_PX, CRACKS_PX)
    rgb = poorer(surface.rgb, rng) if rng.random() < 0.2 else surface.rgb
    crack, pattern, faint = (
        _shrunk(surface.cracks == code, size, cv2.INTER_AREA) > 0.4
        for code in (CRACK, PATTERN_LINE, FAINT)
    )
    materials = _most_of(surface.materials, size, cv2.INTER_AREA)
    lines = _Lines(
        cv2.resize(rgb, size, interpolation=cv2.INTER_AREA),
        np.ones(size, bool), crack, pattern, faint, materials, factor,
    )  # fmt: skip
    target = lines.target
    target[(target == 0) & (_shrunk(surface.strays, size, cv2.INTER_AREA) > 0.4)] = 4
    target[(target == 0) & _borders(materials)] = 3
    return Example(lines.rgb, target)


def _glare_example(rendered: Rendered, stone, rng: np.random.Generator, side: int) -> Example:
    x, y, w, h = _grown(stone.box, 0.02, rendered.pieces.shape)
    cut = np.s_[y : y + h, x : x + w]
    factor = min(1.0, side / max(w, h))
    size = (round(w * factor), round(h * factor))
    rgb = cv2.resize(rendered.rgb[cut], size, interpolation=cv2.INTER_AREA)
    mask = _shrunk(rendered.pieces[cut] == stone.id, size, cv2.INTER_AREA) > 0.5
    hidden = (_most_of(rendered.regions[cut], size, cv2.INTER_AREA) == UNREADABLE) & mask
    # Around it lies a veil of which this renderer keeps no truth.
    veiled = cv2.dilate(hidden.astype(np.uint8), np.ones((7, 7))) > 0
    return _reflection_example(Reflection(rgb, mask, hidden, veiled & ~hidden), rng, side)


def _reflection_example(picture: Reflection, rng: np.random.Generator, side: int) -> Example:
    rgb = poorer(picture.rgb, rng) if rng.random() < POORER else picture.rgb
    rgb = cv2.resize(rgb, picture.mask.shape[::-1], interpolation=cv2.INTER_LINEAR)
    target = np.where(picture.hidden, 1, np.where(picture.veiled, UNJUDGED, 0)).astype(np.uint8)
    # The outline of a real photo is never exact; nothing is asked of the ground that it takes in.
    target[~picture.mask] = UNJUDGED
    mask = picture.mask.astype(np.uint8)
    reach = int(rng.integers(-2, 3))
    change = cv2.dilate if reach > 0 else cv2.erode
    target[change(mask, np.ones((3, 3)), iterations=abs(reach)) == 0] = IGNORE
    return Example(*_square(np.where(target[..., None] == IGNORE, 0, rgb), target, side))


def _one_of(
    where: NDArray[np.bool_], rng: np.random.Generator, chance: float
) -> tuple[int, int] | None:
    """x, y of a pixel drawn from a mask with that chance; ``None`` otherwise or where it is empty."""
    places = np.flatnonzero(where)
    if not len(places) or rng.random() > chance:
        return None
    y, x = divmod(int(places[rng.integers(len(places))]), where.shape[1])
    return x, y


def _grown(
    box: tuple[int, int, int, int], share: float, shape: tuple[int, int]
) -> tuple[int, int, int, int]:
    """The box with a margin of that share of its longer side, held inside the photo."""
    x, y, w, h = box
    margin = round(share * max(w, h))
    left, top = max(0, x - margin), max(0, y - margin)
    return left, top, min(shape[1], x + w + margin) - left, min(shape[0], y + h + margin) - top


def _shrunk(layer: NDArray[np.bool_], size: tuple[int, int], method: int) -> NDArray[np.float32]:
    return cv2.resize(layer.astype(np.float32), size, interpolation=method)


def _coded(linear: NDArray[np.float32]) -> NDArray[np.uint8]:
    """sRGB codes of linear light, 0 to 1."""
    return np.searchsorted(_HALFWAY, np.clip(linear, 0, 1)).astype(np.uint8)


def _most_of(codes: NDArray[np.uint8], size: tuple[int, int], method: int) -> NDArray[np.uint8]:
    """The code that fills most of each new pixel: a spark of glare smaller than that is not asked for."""
    names = np.unique(codes)
    shares = [
        cv2.resize((codes == name).astype(np.float32), size, interpolation=method) for name in names
    ]
    return names[np.argmax(shares, axis=0)]


def _nearest_name(target: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The target, with every pixel that is left out named as the nearest one that is not."""
    unnamed = (target == IGNORE).astype(np.uint8)
    if unnamed.all():
        return target
    _, nearest = cv2.distanceTransformWithLabels(
        unnamed, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    name_of = np.zeros(int(nearest.max()) + 1, np.uint8)
    name_of[nearest[unnamed == 0]] = target[unnamed == 0]
    return name_of[nearest]


def _depth(pieces: NDArray[np.uint8]) -> NDArray[np.float32]:
    """How deep each pixel lies in its stone: distance to the outline / that of the deepest point, 0 to 1."""
    depth = np.zeros(pieces.shape, np.float32)
    for piece in range(1, int(pieces.max()) + 1):
        inside = (pieces == piece).astype(np.uint8)
        if inside.any():
            distance = cv2.distanceTransform(inside, cv2.DIST_L2, 5)
            depth += distance / distance.max()
    return depth


def _square(
    picture: NDArray[np.uint8], target: NDArray[np.uint8], side: int
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Both on a square of that side; the rest of it is black and left out of the loss."""
    h, w = target.shape
    big = np.pad(picture, ((0, side - h), (0, side - w), (0, 0)))
    return big, np.pad(target, ((0, side - h), (0, side - w)), constant_values=IGNORE)


MAKERS = {
    "pieces": lambda rendered, rng: pieces_examples(rendered, rng),
    "regions": lambda rendered, rng: regions_examples(rendered, load_profile(), rng),
    "cracks": lambda rendered, rng: cracks_examples(rendered, rng),
    "glare": lambda rendered, rng: glare_examples(rendered, rng),
}


def make_examples(
    seed: int, photo: int, style: Style, parts: tuple[str, ...] = tuple(MAKERS)
) -> dict[str, list[Example]]:
    """Return the examples of one photo for each part.

    The same seed and photo number give the same ones, whichever other parts are made. A fifth of those for
    cracks show other surfaces; most of those for glare are drawn for it alone.
    """
    cv2.setNumThreads(1)
    rendered = render_example_photo(np.random.default_rng([seed, photo]), style)
    dice = {part: np.random.default_rng([seed, photo, k]) for k, part in enumerate(MAKERS)}
    made = {part: MAKERS[part](rendered, dice[part]) for part in parts}
    if "cracks" in made:
        made["cracks"] += surface_examples(dice["cracks"], style)
    if "glare" in made:
        made["glare"] += reflection_examples(dice["glare"], style)
    return made


def draw_examples(
    folder: Path,
    seed: int,
    photos: int,
    style: Style,
    jobs: int = -1,
    parts: tuple[str, ...] = tuple(MAKERS),
) -> None:
    """Write the examples of that many photos to ``part/number.npy``: (n, side, side, 4) uint8, picture and target."""
    for part in parts:
        (folder / part).mkdir(parents=True, exist_ok=True)
    Parallel(n_jobs=jobs)(delayed(_draw)(folder, seed, k, style, parts) for k in range(photos))


def read_examples(folder: Path) -> NDArray[np.uint8]:
    """Return all examples of a part, (n, side, side, 4), that ``draw_examples`` has written to its folder."""
    return np.concatenate([np.load(path) for path in sorted(folder.glob("[0-9]" * 6 + ".npy"))])


def _draw(folder: Path, seed: int, photo: int, style: Style, parts: tuple[str, ...]) -> None:
    for part, examples in make_examples(seed, photo, style, parts).items():
        if examples:
            stack = np.stack([np.dstack([e.picture, e.target]) for e in examples])
            # Renamed when whole: a drawing that is broken off leaves no half file.
            np.save(folder / part / f"{photo:06d}.part", stack)
            (folder / part / f"{photo:06d}.part.npy").replace(folder / part / f"{photo:06d}.npy")
