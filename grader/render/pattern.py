"""Where blue, white and host lie on a face: one function per family, all soft borders and shifts of tone."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from grader.render.bands import Course, Stripes, draw_course, draw_stripes, fortified
from grader.render.noise import bend, fbm, net, soft_step


@dataclass(frozen=True)
class Grid:
    """A face to draw on: u, v in stone radii at every px, and the radius in px."""

    u: NDArray[np.float32]
    v: NDArray[np.float32]
    radius_px: float

    @property
    def shape(self) -> tuple[int, int]:
        return self.u.shape

    def noise(
        self, rng: np.random.Generator, cell: float, octaves: int = 4, gain: float = 0.5
    ) -> NDArray[np.float32]:
        """Return a random field with blobs of ``cell`` radii."""
        return fbm(rng, self.shape, cell * self.radius_px, octaves, gain)


@dataclass(frozen=True)
class Figure:
    """A drawn pattern.

    white, host : weight (0 to 1) of the class at each px; the rest is blue.   tone : shift of L*.
    deep : 0 to 1, how near the blue goes to black.   course, stripes : of bands, where there are
    any.
    dyes : names of the blue and the white palette that the pattern asks for, or None.
    """

    white: NDArray[np.float32]
    host: NDArray[np.float32]
    tone: NDArray[np.float32]
    deep: NDArray[np.float32] | None = None
    course: Course | None = None
    stripes: Stripes | None = None
    dyes: tuple[str | None, str | None] = (None, None)


def draw_pattern(rng: np.random.Generator, family: str, grid: Grid) -> Figure:
    """Return a pattern of that family (a name in the catalogue)."""
    if family in ("pale blue", "dark blue", "all white", "all host", "grey only"):
        return _one_coloured(rng, family, grid)
    return _FAMILIES[family](rng, grid)


def _soft(rng: np.random.Generator, grid: Grid) -> float:
    """Return how wide a border is, in radii: from crisp to slowly passing over."""
    wide = rng.choice(
        [rng.uniform(0.002, 0.008), rng.uniform(0.008, 0.03), rng.uniform(0.03, 0.09)],
        p=[0.5, 0.35, 0.15],
    )
    return max(float(wide), 1.2 / grid.radius_px)


def _banded(rng: np.random.Generator, grid: Grid, thickness: float, **course) -> Figure:
    bands = draw_course(rng, grid.u, grid.v, grid.radius_px, **course)
    stripes = draw_stripes(
        rng, max(thickness, 3.0 / grid.radius_px), 3.0, 0.06 if rng.random() < 0.3 else 0.0
    )
    t = bands.t
    froth = 0.0
    if rng.random() < 0.35:
        froth = thickness * rng.uniform(0.05, 0.3)
        t = t + np.float32(froth) * grid.noise(rng, thickness * 0.8, 5, 0.65)
    soft = max(_soft(rng, grid), froth * rng.uniform(0, 0.8))
    white, host, tone = stripes.paint(t, min(soft, thickness * 0.4))
    tone = tone + _fine_layers(rng, bands.t, thickness)
    return _with_host(rng, grid, Figure(white, host, tone, course=bands, stripes=stripes))


def _fine_layers(rng: np.random.Generator, t: NDArray, thickness: float) -> NDArray[np.float32]:
    """Return faint layers inside the bands."""
    strength = rng.choice([0.0, rng.uniform(0.5, 3)], p=[0.35, 0.65])
    layers = draw_stripes(rng, thickness * rng.uniform(0.12, 0.4), 3.2)
    return layers.paint(t, thickness * 0.05)[2] * np.float32(strength / 2.2)


def _with_host(rng: np.random.Generator, grid: Grid, figure: Figure) -> Figure:
    """Lay host over a part of the face, on one side or in patches, or not at all."""
    where = rng.choice(["none", "side", "patches", "both"], p=[0.52, 0.28, 0.12, 0.08])
    host = figure.host
    soft = _soft(rng, grid)
    if where in ("side", "both"):
        a = rng.uniform(0, 2 * np.pi)
        if figure.course is not None and rng.random() < 0.6:
            a = figure.course.angle + np.pi / 2 * rng.choice([-1, 1])
        side = (
            np.float32(np.cos(a)) * grid.u
            + np.float32(np.sin(a)) * grid.v
            - np.float32(rng.uniform(0.1, 0.85))
        )
        side = side + np.float32(rng.uniform(0.03, 0.2)) * grid.noise(rng, rng.uniform(0.2, 0.7), 5)
        host = np.maximum(host, soft_step(side, soft))
    if where in ("patches", "both"):
        host = np.maximum(
            host,
            soft_step(grid.noise(rng, rng.uniform(0.25, 0.7), 5) - rng.uniform(0.7, 1.5), soft * 4),
        )
    return replace(figure, host=host, white=figure.white * (1 - host))


def _fine(rng, grid):
    return _banded(rng, grid, rng.uniform(0.035, 0.1), bend=rng.uniform(0.01, 0.08))


def _coarse(rng, grid):
    return _banded(rng, grid, rng.uniform(0.14, 0.45), bend=rng.uniform(0.02, 0.15))


def _folded(rng, grid):
    return _banded(
        rng, grid, rng.uniform(0.05, 0.25), bend=rng.uniform(0.03, 0.1), fold=rng.uniform(0.12, 0.5)
    )


def _faulted(rng, grid):
    thickness = rng.uniform(0.07, 0.28)
    return _banded(
        rng,
        grid,
        thickness,
        bend=rng.uniform(0.01, 0.07),
        faults=int(rng.integers(1, 5)),
        throw=thickness,
    )


def _frothy(rng, grid):
    """Few broad fields whose white edges froth like surf."""
    bands = draw_course(
        rng, grid.u, grid.v, grid.radius_px, bend=rng.uniform(0.05, 0.2), fold=rng.uniform(0, 0.15)
    )
    thickness = rng.uniform(0.35, 0.8)
    stripes = draw_stripes(rng, thickness, 3.0)
    foam = grid.noise(rng, rng.uniform(0.12, 0.3), 6, 0.62)
    t = bands.t + np.float32(rng.uniform(0.03, 0.1)) * foam
    white, host, tone = stripes.paint(t, rng.choice([0.012, 0.03, 0.07]))
    lace = np.clip(1 - np.abs(foam) * 2.5, 0, 1) * np.float32(rng.uniform(0, 6))
    tone = tone + white * (lace + 3 * grid.noise(rng, 0.35, 4)) + _fine_layers(rng, bands.t, 0.25)
    figure = Figure(
        white,
        host,
        tone,
        course=bands,
        stripes=stripes,
        dyes=(str(rng.choice(["lilac", "sky", "violet-blue", "steel"])), None),
    )
    return _with_host(rng, grid, figure) if rng.random() < 0.45 else figure


def _swirled(rng, grid):
    bands = draw_course(
        rng, grid.u, grid.v, grid.radius_px, bend=rng.uniform(0.3, 0.65), fold=rng.uniform(0, 0.4)
    )
    thickness = rng.uniform(0.08, 0.3)
    stripes = draw_stripes(rng, thickness, 4.0)
    t = bands.t + np.float32(thickness * 0.3) * grid.noise(rng, 0.1, 5, 0.6)
    white, host, tone = stripes.paint(t, thickness * rng.uniform(0.15, 0.8))
    return _with_host(rng, grid, Figure(white, host, tone + _fine_layers(rng, t, thickness)))


def _fortification(rng, grid):
    t = fortified(rng, grid.u, grid.v, grid.radius_px)
    stripes = draw_stripes(rng, rng.uniform(0.05, 0.2), 3.0)
    white, host, tone = stripes.paint(t, _soft(rng, grid))
    return _with_host(rng, grid, Figure(white, host, tone))


def _mottled(rng, grid):
    """Dark blue, clotted with near-black, with pale and host spots."""
    clots = grid.noise(rng, rng.uniform(0.08, 0.25), 5, 0.6)
    deep = soft_step(clots - rng.uniform(-0.3, 0.8), rng.uniform(0.3, 1.2)) * np.float32(
        rng.uniform(0.4, 0.95)
    )
    pale = grid.noise(rng, rng.uniform(0.2, 0.6), 6, 0.6)
    white = soft_step(pale - rng.uniform(0.9, 2.2), 0.4)
    host = soft_step(grid.noise(rng, rng.uniform(0.08, 0.3), 4) - rng.uniform(1.5, 2.4), 0.15) * (
        rng.random() < 0.6
    )
    dyes = (
        str(rng.choice(["navy", "royal", "violet-blue", "steel"])),
        "clean" if rng.random() < 0.6 else None,
    )
    return Figure(white * (1 - host), host.astype(np.float32), 4 * clots, deep=deep, dyes=dyes)


def _veined(rng, grid):
    """Thin pale veins in a net on dark blue."""
    web = net(rng, grid.shape, rng.uniform(0.2, 0.7) * grid.radius_px) / grid.radius_px
    second = np.abs(grid.noise(rng, rng.uniform(0.3, 0.8), 5, 0.55)) * 0.12
    width = rng.uniform(0.006, 0.03) * np.exp(0.8 * grid.noise(rng, 0.3, 3))
    veins = np.maximum(soft_step(width - web, 0.012), soft_step(width * 0.7 - second, 0.012))
    cloud = soft_step(grid.noise(rng, 0.4, 6, 0.6) - rng.uniform(1.2, 2.3), 0.3)
    white = np.maximum(
        veins * soft_step(grid.noise(rng, 0.5, 3) + rng.uniform(-0.2, 1.2), 0.8), cloud
    )
    halo = np.clip(1 - web / (3 * width + 0.02), 0, 1)
    deep = np.clip(0.75 - 0.6 * halo + 0.2 * grid.noise(rng, 0.3, 4), 0, 1) * np.float32(
        rng.uniform(0.5, 1)
    )
    dyes = (
        str(rng.choice(["navy", "royal", "violet-blue"])),
        "clean" if rng.random() < 0.6 else None,
    )
    return _with_host(
        rng, grid, Figure(white, np.zeros_like(white), 6 * halo, deep=deep, dyes=dyes)
    )


def _matrix(rng, grid):
    """One blue, crossed by a web of dark or brown host."""
    web = net(rng, grid.shape, rng.uniform(0.2, 0.6) * grid.radius_px) / grid.radius_px
    width = rng.uniform(0.008, 0.035) * np.exp(0.9 * grid.noise(rng, 0.2, 4))
    strands = soft_step(width - web, 0.012) * soft_step(
        grid.noise(rng, 0.6, 3) + rng.uniform(-0.4, 1), 0.6
    )
    blots = soft_step(grid.noise(rng, 0.25, 5) - rng.uniform(1.4, 2.3), 0.2)
    white = soft_step(grid.noise(rng, 0.5, 5) - rng.uniform(1.6, 3.0), 0.4)
    host = np.maximum(strands, blots)
    return Figure(
        white * (1 - host),
        host,
        2.5 * grid.noise(rng, 0.5, 5),
        dyes=(str(rng.choice(["turquoise", "sky", "steel"])), None),
    )


def _clouded(rng, grid):
    """White clouds passing slowly into blue, as in a hazy sky."""
    cloud = bend(
        rng,
        grid.noise(rng, rng.uniform(0.3, 0.8), 6, 0.55),
        grid.radius_px * 0.6,
        grid.radius_px * rng.uniform(0, 0.3),
    )
    white = soft_step(cloud - rng.uniform(-0.6, 1.0), rng.uniform(0.2, 1.4))
    return _with_host(rng, grid, Figure(white, np.zeros_like(white), 2.5 * cloud))


def _patches(rng, grid):
    """Host with islands of blue and white."""
    isle = grid.noise(rng, rng.uniform(0.4, 0.8), 5)
    host = soft_step(rng.uniform(-0.1, 1.0) - isle, _soft(rng, grid) * 3)
    inner = _banded(rng, grid, rng.uniform(0.08, 0.3), bend=0.1)
    host = np.maximum(host, inner.host)
    return replace(inner, host=host, white=inner.white * (1 - host))


def _seam(rng, grid):
    """A bright seam that crosses host: white, blue, or banded along its walls."""
    bands = draw_course(rng, grid.u, grid.v, grid.radius_px, bend=rng.uniform(0.03, 0.18))
    half = np.float32(rng.uniform(0.06, 0.3)) * np.exp(np.float32(0.25) * grid.noise(rng, 0.6, 4))
    off = np.abs(bands.t - np.float32(rng.uniform(-0.3, 0.3))) / half
    host = soft_step(off - 1, 0.06)
    inner = rng.uniform(0.2, 0.9)
    kind = rng.choice(["white", "blue", "white walls", "blue walls"], p=[0.25, 0.2, 0.3, 0.25])
    core = soft_step(inner - off, 0.15)
    white = {
        "white": np.ones_like(off),
        "blue": np.zeros_like(off),
        "white walls": 1 - core,
        "blue walls": core,
    }[kind]
    stray = soft_step(np.float32(0.012) - np.abs(grid.noise(rng, 0.7, 4)) * 0.15, 0.02) * (
        rng.random() < 0.5
    )
    host = np.minimum(host, 1 - stray * soft_step(2.5 - off, 1.0))
    return Figure(white * (1 - host), host.astype(np.float32), 2 * grid.noise(rng, 0.4, 5))


def _landscape(rng, grid):
    """White sky over blue water over a host shore, with islets and surf."""
    a = rng.normal(0, 0.12)
    up = -np.float32(np.cos(a)) * grid.v + np.float32(np.sin(a)) * grid.u
    horizon, shore = rng.uniform(0.0, 0.45), rng.uniform(-0.75, -0.2)
    sky = up - horizon + rng.uniform(0.004, 0.06) * grid.noise(rng, 0.5, 5)
    white = soft_step(sky, _soft(rng, grid))
    land = shore - up + rng.uniform(0.03, 0.15) * grid.noise(rng, rng.uniform(0.2, 0.6), 5)
    isles = (grid.noise(rng, rng.uniform(0.12, 0.3), 4) - rng.uniform(1.2, 2.2)) * 0.15
    isles = np.where((sky < -0.02) & (land < 0.05), isles, -1)
    ground = np.maximum(land, isles)
    soft = _soft(rng, grid)
    host = soft_step(ground, soft)
    surf = soft_step(0.03 - np.abs(ground + 0.02) + 0.02 * grid.noise(rng, 0.06, 4), 0.02) * (
        rng.random() < 0.5
    )
    waves = draw_stripes(rng, rng.uniform(0.03, 0.12), 3.0)
    swell = waves.paint(up + 0.03 * grid.noise(rng, 0.5, 4), 0.02)
    white = np.maximum(
        white, np.maximum(surf, 0 if rng.random() < 0.6 else swell[0] * (sky < 0))
    ) * (1 - host)
    clouds = 2 * white * grid.noise(rng, 0.5, 5)
    return Figure(white.astype(np.float32), host, swell[2] * 1.2 + clouds)


def _one_coloured(rng, family, grid):
    zero, one = np.zeros(grid.shape, np.float32), np.ones(grid.shape, np.float32)
    tone = rng.uniform(0.5, 3) * grid.noise(rng, rng.uniform(0.3, 0.9), 5)
    if rng.random() < 0.5:
        bands = draw_course(rng, grid.u, grid.v, grid.radius_px, bend=0.15)
        tone = tone + _fine_layers(rng, bands.t, rng.uniform(0.1, 0.6))
    if family in ("pale blue", "dark blue") and rng.random() < 0.4:
        # Paler and deeper grains of the one blue.
        grains = grid.noise(rng, rng.uniform(0.02, 0.1), 4, 0.7)
        tone = tone + np.float32(rng.uniform(2, 8)) * grains
    if family == "pale blue":
        return Figure(zero, zero, tone, dyes=(str(rng.choice(["lilac", "sky", "turquoise"])), None))
    if family == "dark blue":
        deep = soft_step(grid.noise(rng, rng.uniform(0.1, 0.6), 5, 0.6), 1.5) * np.float32(
            rng.uniform(0, 0.9)
        )
        return Figure(
            zero,
            zero,
            2 * tone,
            deep=deep,
            dyes=(str(rng.choice(["navy", "royal", "violet-blue"])), None),
        )
    if family == "all white":
        return Figure(one, zero, tone, dyes=(None, str(rng.choice(["clean", "cream"]))))
    return Figure(zero, one, 1.6 * tone)


_FAMILIES = {
    "fine bands": _fine,
    "coarse bands": _coarse,
    "folded": _folded,
    "faulted": _faulted,
    "frothy": _frothy,
    "mottled": _mottled,
    "veined": _veined,
    "matrix": _matrix,
    "swirled": _swirled,
    "clouded": _clouded,
    "landscape": _landscape,
    "seam": _seam,
    "patches": _patches,
    "fortification": _fortification,
}
