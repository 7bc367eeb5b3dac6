"""The table before the light: ground, flat things, stones and a finger, laid one over the other."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.render import props
from grader.render.ground import Ground
from grader.render.layout import Spot
from grader.render.lens import View
from grader.render.stone import StoneFace


@dataclass
class Tabletop:
    """The table as the camera sees it, before light: all layers of the photo's shape.

    reflect : (h, w, 3).   nx, ny, mirror, sheen, through, hollow : as in ``StoneFace``.
    stone : 0 to 1, where something stands on the ground.   ids : of the stones, in the order
    laid.
    regions, cracks, wet : truth layers.   ground_mean : linear rgb of the bare ground.
    """

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
    wet: NDArray[np.bool_]
    ground_mean: NDArray[np.float32]

    @classmethod
    def bare(cls, ground: Ground) -> "Tabletop":
        """Return the ground with nothing on it."""
        shape = ground.nx.shape
        zero = [np.zeros(shape, np.float32) for _ in range(3)]
        codes = [np.zeros(shape, np.uint8) for _ in range(3)]
        return cls(
            ground.reflect,
            ground.nx,
            ground.ny,
            zero[0],
            np.full(shape, np.float32(ground.mirror)),
            zero[1],
            np.ones(shape, np.float32),
            zero[2],
            *codes,
            np.zeros(shape, bool),
            ground.reflect[::8, ::8].reshape(-1, 3).mean(0),
        )

    def add(self, face: StoneFace, number: int) -> None:
        """Lay a stone over what is there."""
        x, y, w, h = face.box
        box = (slice(y, y + h), slice(x, x + w))
        a = face.cover
        for layer, new in (
            (self.nx, face.nx),
            (self.ny, face.ny),
            (self.mirror, face.mirror),
            (self.sheen, face.sheen),
            (self.through, np.float32(face.through)),
            (self.hollow, face.hollow),
            (self.stone, np.float32(1)),
        ):
            layer[box] += a * (new - layer[box])
        self.reflect[box] += a[..., None] * (face.reflect - self.reflect[box])
        inside = a >= 0.5
        self.ids[box][inside] = number
        self.regions[box][inside] = face.classes[inside]
        self.cracks[box][inside] = face.cracks[inside]
        self.wet[box][inside] = face.wet[inside]


def lay_props(rng, ground: Ground, view: View, mm_per_px: float, chosen: dict) -> dict[str, bool]:
    """Lay ruler, card and coin on the ground; return which lie in the photo."""
    chances = {"ruler": 0.14, "card": 0.1, "coin": 0.1}
    makers = {"ruler": props.ruler, "card": props.card, "coin": props.coin}
    laid = {}
    for name, chance in chances.items():
        wanted = rng.random() < chance
        own_rng = rng.spawn(1)[0]
        laid[name] = wanted if chosen[name] is None else bool(chosen[name])
        if not laid[name]:
            continue
        px_per_mm = 1 / mm_per_px
        drawn_at = float(np.clip(px_per_mm, 2.0, 16.0))
        picture = makers[name](own_rng, drawn_at)
        half = np.array([view.width, view.height]) / 2
        side = own_rng.integers(4)
        edge = (
            np.array([[0, -1], [1, 0], [0, 1], [-1, 0]])[side] * half * own_rng.uniform(0.72, 0.95)
        )
        along = np.array([[1, 0], [0, 1], [1, 0], [0, 1]])[side] * half * own_rng.uniform(-0.6, 0.6)
        angle = (0 if side % 2 == 0 else np.pi / 2) + own_rng.normal(0, 0.12)
        where = props.lay(ground.reflect, view, picture, edge + along, angle, px_per_mm / drawn_at)
        for layer in (ground.nx, ground.ny):
            layer[where] *= 0.1
        laid[name] = bool(where.any())
    return laid


def lay_finger(
    rng: np.random.Generator,
    table: Tabletop,
    view: View,
    spots: tuple[Spot, ...],
    chosen: bool | None,
) -> NDArray | None:
    """Let a finger touch a stone; return its outline in the photo."""
    wanted = rng.random() < 0.06
    own_rng = rng.spawn(1)[0]
    if not spots or not (wanted if chosen is None else chosen):
        return None
    spot = spots[int(own_rng.integers(len(spots)))]
    a = own_rng.uniform(0, 2 * np.pi)
    rim = spot.centre + spot.radius * own_rng.uniform(0.7, 1.0) * np.array([np.cos(a), np.sin(a)])
    thick = view.width * own_rng.uniform(0.03, 0.09)
    outline = props.finger(
        own_rng,
        view.to_photo(rim),
        np.array([np.cos(a), np.sin(a)]),
        view.width + view.height,
        thick,
    )
    props.draw_finger(own_rng, table, outline, thick)
    return outline
