"""What the networks learn from: pictures and targets cut from renders, never from photographs."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.regions import LOOK_PX as REGIONS_PX
from grader.face.regions import ROLES, regions_input
from grader.measures import UNREADABLE
from grader.photo.colour import lab_from_linear, srgb_curve
from grader.photo.pieces import LOOK_PX as PIECES_PX
from grader.photo.pieces import MARGIN_SHARE, pieces_input
from grader.profile import Profile, load_profile
from grader.render import Style, render_photo
from grader.render.truth import Rendered
from grader.train.variety import other_ground, other_light, poorer, shaded_rim

#: Target value of a pixel that is left out of the loss.
IGNORE = 255
#: How often a picture is given another ground, the look of a small web copy, and a cab a shaded rim.
OTHER_GROUND, POORER, SHADED_RIM = 0.5, 0.35, 0.6


@dataclass(frozen=True)
class Example:
    """One square picture for a network, shape (side, side, channels), float16, and its target, uint8.

    For pieces the target has two layers, (side, side, 2): stone 0 or 1, and depth 0 to 200 (inside / deepest point).
    For regions it is (side, side): place of the role, 3 for unreadable, ``IGNORE`` off the stone.
    """

    picture: NDArray[np.float16]
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
    """Return up to ``most`` faces of a photo; some in turned colours under a profile turned alike, so that
    whose hue is whose is learned from the profile."""
    stones = [s for s in rendered.stones if min(s.box[2:]) >= 40]
    rng.shuffle(stones)
    return [_regions_example(rendered, stone, profile, rng) for stone in stones[:most]]


def _pieces_example(
    rendered: Rendered, depth: NDArray, box: tuple[int, int, int, int], rng: np.random.Generator
) -> Example:
    x, y, w, h = box
    factor = PIECES_PX / max(w, h)
    size = (max(8, round(w * factor)), max(8, round(h * factor)))
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    rgb = rendered.rgb[y : y + h, x : x + w]
    if rng.random() < OTHER_GROUND:
        rgb = other_ground(rgb, rendered.pieces[y : y + h, x : x + w] > 0, rng)
    rgb = cv2.resize(poorer(rgb, rng) if rng.random() < POORER else rgb, size, interpolation=way)
    lab = lab_from_linear(other_light(srgb_curve()[rgb], rng))
    stone = cv2.resize(
        (rendered.pieces[y : y + h, x : x + w] > 0).astype(np.float32), size, interpolation=way
    )
    deep = cv2.resize(depth[y : y + h, x : x + w], size, interpolation=way)
    target = np.dstack([stone > 0.5, np.rint(deep * 200)]).astype(np.uint8)
    return Example(
        *_square(pieces_input(lab), target, PIECES_PX, np.array([IGNORE, IGNORE], np.uint8))
    )


def _regions_example(
    rendered: Rendered, stone, profile: Profile, rng: np.random.Generator
) -> Example:
    x, y, w, h = stone.box
    cut = np.s_[y : y + h, x : x + w]
    factor = REGIONS_PX / max(w, h)
    size = (max(8, round(w * factor)), max(8, round(h * factor)))
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    rgb = cv2.resize(
        poorer(rendered.rgb[cut], rng) if rng.random() < POORER else rendered.rgb[cut],
        size,
        interpolation=way,
    )
    linear = other_light(srgb_curve()[rgb], rng)
    mask = (
        cv2.resize((rendered.pieces[cut] == stone.id).astype(np.float32), size, interpolation=way)
        > 0.5
    )
    if stone.kind == "cab" and rng.random() < SHADED_RIM:
        linear = shaded_rim(linear, mask, rng)
    lab = lab_from_linear(linear)
    codes = _most_of(rendered.regions[cut], size, way)
    if rng.random() < 0.2:
        lab, profile = _turned_colours(lab, profile, rng.uniform(0, 360))
    target = np.full(codes.shape, IGNORE, np.uint8)
    for place, role in enumerate(ROLES):
        target[codes == profile.code(role)] = place
    target[codes == UNREADABLE] = len(ROLES)
    target[~mask] = IGNORE
    # The outline of a real photo is never exact: what it takes in of the ground is named as the stone beside it.
    reach = int(rng.integers(-3, 4))
    if reach:
        change = cv2.dilate if reach > 0 else cv2.erode
        mask = change(mask.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=abs(reach)) > 0
    target = np.where(mask, _nearest_name(target), IGNORE).astype(np.uint8)
    return Example(
        *_square(regions_input(lab, mask, profile), target, REGIONS_PX, np.uint8(IGNORE))
    )


def _most_of(codes: NDArray[np.uint8], size: tuple[int, int], way: int) -> NDArray[np.uint8]:
    """The code that fills most of each new pixel: a spark of glare smaller than that is not asked for."""
    names = np.unique(codes)
    shares = [
        cv2.resize((codes == name).astype(np.float32), size, interpolation=way) for name in names
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


def _turned_colours(lab: NDArray, profile: Profile, turn_deg: float) -> tuple[NDArray, Profile]:
    """The picture with all hues turned, and the profile with its hue ranges turned alike."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    turned = lab.copy()
    turned[..., 1], turned[..., 2] = (
        c * lab[..., 1] - s * lab[..., 2],
        s * lab[..., 1] + c * lab[..., 2],
    )
    colours = tuple(
        replace(k, hue_deg=(k.hue_deg[0] + turn_deg, k.hue_deg[1] + turn_deg))
        for k in profile.colours
    )
    return turned, replace(profile, colours=colours)


def _depth(pieces: NDArray[np.uint8]) -> NDArray[np.float32]:
    """How deep each pixel lies in its stone: distance to the outline / that of the deepest point, 0 to 1."""
    depth = np.zeros(pieces.shape, np.float32)
    for piece in range(1, int(pieces.max()) + 1):
        inside = (pieces == piece).astype(np.uint8)
        if inside.any():
            away = cv2.distanceTransform(inside, cv2.DIST_L2, 5)
            depth += away / away.max()
    return depth


def _square(
    picture: NDArray, target: NDArray, side: int, fill
) -> tuple[NDArray[np.float16], NDArray[np.uint8]]:
    """Both on a square of that side; the rest of it is left out of the loss."""
    h, w = target.shape[:2]
    big = np.pad(picture, ((0, side - h), (0, side - w), (0, 0))).astype(np.float16)
    out = np.broadcast_to(fill, (side, side, *target.shape[2:])).copy()
    out[:h, :w] = target
    return big, out


def make_examples(
    parts: list[str], seed: int, photo: int, style: Style
) -> dict[str, list[Example]]:
    """Return the examples of one photo for each part; the same seed and photo number give the same ones."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng([seed, photo])
    rendered = render_example_photo(rng, style)
    ways = {
        "pieces": lambda: pieces_examples(rendered, rng),
        "regions": lambda: regions_examples(rendered, load_profile(), rng),
    }
    return {part: ways[part]() for part in parts}
