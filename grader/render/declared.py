"""A face laid out on purpose: its size, picture, colours and lines are said, where other stones draw them by lot."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.fracture import WIDTHS_PX, ragged, uneven_widths
from grader.render.layout import Spot
from grader.render.lines import inside_run
from grader.render.noise import fbm, soft_step
from grader.render.pattern import Figure, Grid
from grader.render.shape import normalised
from grader.render.stroke import Stroke

#: The sharp light of a lamp that a wet face mirrors, beside that of a white sheet.
LAMP_LIGHT = 3.0


@dataclass(frozen=True)
class DeclaredFace:
    """What one face shall show.

    Attributes
    ----------
    size_mm : width and height.
    picture : returns the pattern on a grid whose u and v are mm from the middle, right and down in the picture.
    turn_deg : how the picture lies on the table, clockwise.
    chroma_share : of the palette's C*ab that the blue and the white have, 0 to 1.
    cracks : paths (n, 2) in mm, as the picture lies; those that leave the face end at its rim.
    crack_look : one of ``fracture.WIDTHS_PX``.
    lamp_share : of the face, 0 to 1, that mirrors a lamp.
    squareness : power of the outline's curve: 2 an oval, the higher the nearer to a rectangle.
    body : returns CIELAB (h, w, 3) of its dry body on a grid in stone radii, in place of a palette's colours: for a
        stone of another kind.
    """

    size_mm: tuple[float, float]
    picture: Callable[[np.random.Generator, Grid], Figure]
    turn_deg: float = 0.0
    chroma_share: float = 1.0
    cracks: tuple[NDArray[np.float64], ...] = ()
    crack_look: str = "open"
    lamp_share: float = 0.0
    squareness: float = 4.0
    body: Callable[[np.random.Generator, Grid], NDArray[np.float32]] | None = None

    @property
    def radius_mm(self) -> float:
        """Radius of the circle of its area."""
        return float(np.sqrt(abs(cv2.contourArea(np.float32(self._rim_mm()))) / np.pi))

    def spot(self, rng: np.random.Generator, kind: str, mm_per_px: float) -> Spot:
        """Return where it lies on the table: about the middle, its outline worn a little."""
        rim = self._rim_mm()
        knots = rng.normal(0, 0.012, 24)
        at = np.linspace(0, 24, len(rim), endpoint=False)
        rim = rim * (1 + np.interp(at, np.arange(25), np.append(knots, knots[0])))[:, None]
        radius = self.radius_mm / mm_per_px
        return Spot(
            kind,
            self.on_table(normalised(rim) * radius),
            rng.uniform(-0.1, 0.1, 2) * radius,
            radius,
        )

    def on_table(self, points: NDArray) -> NDArray[np.float64]:
        """Return points (n, 2) of the picture as they lie on the table, in the same unit."""
        return points @ self._turned()

    def grid_mm(self, grid: Grid) -> Grid:
        """Return the grid of a stone with u and v in mm of the picture in place of radii of the table."""
        u, v = (self.radius_mm * part for part in (grid.u, grid.v))
        right, down = self._turned().astype(np.float32)
        return Grid(
            u * right[0] + v * right[1], u * down[0] + v * down[1], grid.radius_px / self.radius_mm
        )

    def strokes(
        self,
        rng: np.random.Generator,
        to_patch: Callable,
        inside: NDArray[np.bool_],
        radius_px: float,
    ) -> list[Stroke]:
        """Return its cracks.

        to_patch : from points (n, 2) in mm of the picture to px of the patch.   inside : (h, w), where the stone lies.
        """
        strokes = []
        grow = np.sqrt(max(radius_px, 60) / 300)
        for path in self.cracks:
            points = inside_run(ragged(rng, to_patch(path), 0.25), inside)
            if len(points) < 6:
                continue
            width = max(1.0, rng.uniform(*WIDTHS_PX[self.crack_look]) * grow)
            widths = uneven_widths(rng, len(points), width)
            strokes.append(
                Stroke(
                    points, widths, "crack", self.crack_look, rng.uniform(0.75, 0.95), "declared"
                )
            )
        return strokes

    def lamps(self, rng: np.random.Generator, cover: NDArray) -> NDArray[np.float32]:
        """Return the sharp light (h, w) of a lamp in a few streaks over ``lamp_share`` of a face (cover, h, w)."""
        wide = np.sqrt(max(np.count_nonzero(cover > 0.5), 1))
        shares = (0.5, 0.14) if rng.random() < 0.5 else (0.14, 0.5)
        field = fbm(rng, cover.shape, tuple(share * wide for share in shares), 3)
        bound = np.quantile(field[cover > 0.5], 1 - self.lamp_share)
        return LAMP_LIGHT * soft_step(field - np.float32(bound), 0.06)

    def _rim_mm(self) -> NDArray[np.float64]:
        turn = np.linspace(0, 2 * np.pi, 480, endpoint=False)
        c, s, power = np.cos(turn), np.sin(turn), self.squareness
        reach = (np.abs(c) ** power + np.abs(s) ** power) ** (-1 / power)
        return np.stack([c, s], axis=1) * reach[:, None] * np.array(self.size_mm) / 2

    def _turned(self) -> NDArray[np.float64]:
        """Rows: where right and down of the picture point on the table."""
        c, s = np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))
        return np.array([[c, s], [-s, c]])
