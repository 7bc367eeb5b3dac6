"""The plain cases as drawn faces: stones that any digger would grade alike, and what he would call them.

Common practice, no source; sizes and numbers are ours and invented. Every picture is laid out in mm from the middle of
the face, x to the right and y down. A make says how a hand draws them: its ground and light, its colours and borders.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from grader.render import HELD_OUT, HELD_OUT_LINES, TRAINING, Rendered, Style, render_photo
from grader.render.declared import DeclaredFace
from grader.render.noise import soft_step
from grader.render.pattern import Figure, Grid

WIDTH_PX, HEIGHT_PX = 760, 600
#: The face takes about this part of the photo's width, or of its height.
FILL = 0.66
#: In clean light a face mirrors no more of a lamp, share of the face; where it is to mirror one, it is off by no more.
GLARE_SHARE, GLARE_SLIP, TRIES = 0.04, 0.03, 25
#: The lightest tenth of a face reaches this code in one channel, in a photo that is not too dark.
LIT = 105
ALL = ("waste", "tumbling", "cabbing", "select")
Picture = Callable[[np.random.Generator, Grid, "Make"], Figure]


@dataclass(frozen=True)
class Make:
    """How faces are drawn and photographed.

    wave : how far borders wander, as a share of usual.   soft_mm : widths of borders, least and most.
    squareness : of outlines, least and most.
    """

    name: str
    style: Style
    kinds: tuple[str, ...]
    grounds: tuple[str, ...]
    lamps: tuple[str, ...]
    pipelines: tuple[str, ...]
    blues: tuple[str, ...]
    whites: tuple[str, ...]
    wave: float
    soft_mm: tuple[float, float]
    squareness: tuple[float, float]
    cracks: tuple[str, ...]


TUNING = Make(
    "tuning", TRAINING, ("slab",), ("grey felt", "brown felt", "grey paper", "cloth"),
    ("softboxes", "window", "open shade"), ("plain", "compact"), ("royal", "violet-blue"), ("clean", "tinted"),
    1.0, (0.4, 1.6), (3.0, 6.0), ("open", "lipped"),
)  # fmt: skip
#: Kept out of tuning: nothing was chosen by them.
KEPT_BACK = (
    Make(
        "folded", HELD_OUT, ("slab",), ("checked cloth", "sand", "black felt", "board"),
        ("ring", "led", "sun"), ("phone", "night"), ("royal", "navy", "turquoise"), ("clean", "cream"),
        1.8, (0.3, 3.0), (2.4, 3.2), ("lipped", "wet", "open"),
    ),
    Make(
        "domed", HELD_OUT_LINES, ("cab",), ("wood", "white paper", "backdrop", "grey paper"),
        ("tubes", "several", "window"), ("web", "phone", "plain"), ("violet-blue", "royal"), ("cream", "clean"),
        0.5, (0.2, 0.8), (2.2, 9.0), ("open", "rust"),
    ),
)  # fmt: skip
MAKES = {make.name: make for make in (TUNING, *KEPT_BACK)}


@dataclass(frozen=True)
class Case:
    """One plain case.

    allowed : grades that the proposal may be; "retake" where none is to be proposed.
    picture : what the face shows.   blues, whites : palettes in place of the make's own, where the case names the
    colour.
    cracks : from a generator to paths in mm.   scene : least and most of the scene score, where the table tells it.
    lamps : names in place of the make's own.
    """

    name: str
    words: str
    size_mm: tuple[float, float]
    allowed: tuple[str, ...]
    picture: Picture
    host: str | None = None
    blues: tuple[str, ...] | None = None
    whites: tuple[str, ...] | None = None
    cracks: Callable[[np.random.Generator], tuple[NDArray, ...]] | None = None
    healed: int = 0
    turn_deg: tuple[float, ...] = (0.0,)
    chroma_share: float = 1.0
    lamp_share: float = 0.0
    lamps: tuple[str, ...] | None = None
    scene: tuple[float, float] = (0.0, 100.0)
    squareness: float | None = None


def draw_case(case: Case, make: Make, draw: int, seed: int = 0) -> Rendered:
    """Return the photo of a case's draw with that number; seed, make, case and number settle it.

    A lamp that a face mirrors by chance, or a photo too dark, is no plain case: such photos are drawn anew.
    """
    words = (int.from_bytes(word.encode(), "big") % 2**32 for word in (make.name, case.name))
    rng = np.random.default_rng([seed, *words, draw])
    for _ in range(TRIES):
        rendered = _photographed(rng, case, make, draw)
        off = [abs(stone.glare_share - case.lamp_share) for stone in rendered.stones]
        clear = off and off[0] <= (GLARE_SLIP if case.lamp_share else GLARE_SHARE)
        if clear and np.quantile(rendered.rgb[rendered.pieces > 0].max(axis=1), 0.9) >= LIT:
            break
    return rendered


def _photographed(rng: np.random.Generator, case: Case, make: Make, draw: int) -> Rendered:

    def one(names: tuple[str, ...]) -> str:
        return names[rng.integers(len(names))]

    inked = replace(make, blues=case.blues or make.blues, whites=case.whites or make.whites)
    wide, high = case.size_mm
    mm_per_px = max(wide / (FILL * WIDTH_PX), high / (FILL * HEIGHT_PX))
    turn = case.turn_deg[draw % len(case.turn_deg)]
    if abs(turn) % 180 == 90:
        mm_per_px = max(high / (FILL * WIDTH_PX), wide / (FILL * HEIGHT_PX))
    face = DeclaredFace(
        size_mm=case.size_mm,
        picture=lambda drawn, grid: case.picture(drawn, grid, inked),
        turn_deg=turn + rng.normal(0, 4),
        chroma_share=case.chroma_share,
        cracks=case.cracks(rng) if case.cracks else (),
        crack_look=one(make.cracks),
        lamp_share=case.lamp_share,
        squareness=case.squareness or rng.uniform(*make.squareness),
    )
    return render_photo(
        rng, make.style, width_px=WIDTH_PX, height_px=HEIGHT_PX, stones=1, kind=one(make.kinds), state="wet",
        host=case.host or one(("rusty", "grey")), ground=one(make.grounds), lamp=one(case.lamps or make.lamps),
        pipeline=one(make.pipelines), cracks=0, healed=case.healed, strays=False, ruler=False, card=False, coin=False,
        finger=False, cut=False, touching=False, glare=False, blur_px=0.8, mm_per_px=mm_per_px, face=face,
    )  # fmt: skip


# Pictures.


def _figure(white: NDArray, host: NDArray, tone: NDArray | float, rng, make: Make) -> Figure:
    white, host = np.float32(white), np.float32(host)
    tone = np.zeros_like(white) + np.float32(tone)
    dyes = tuple(str(names[rng.integers(len(names))]) for names in (make.blues, make.whites))
    return Figure(white * (1 - host), host, tone, dyes=dyes)


def _soft(rng, grid: Grid, make: Make) -> float:
    """Width of a border, mm, two px at the least."""
    return max(rng.uniform(*make.soft_mm), 2 / grid.radius_px)


def _swell(rng, grid: Grid) -> NDArray:
    """Faint lighter and darker water."""
    return 1.5 * grid.noise(rng, 9.0, 3) + 1.2 * np.sin(
        grid.v / rng.uniform(1.2, 2.5) + grid.noise(rng, 12.0, 3)
    )


def landscape(
    high_mm: float = 60.0,
    sky: float = 1 / 3,
    shore: float = 0.25,
    islet: bool = True,
    white: bool = True,
    tilt_deg: float = 0.0,
) -> Picture:
    """Pale sky over deep water over a host shore: shares of the height; without white the sky is blue too."""

    def picture(rng, grid, make):
        size = high_mm / 60
        turn = np.radians(tilt_deg)
        x = np.cos(turn) * grid.u + np.sin(turn) * grid.v
        y = -np.sin(turn) * grid.u + np.cos(turn) * grid.v
        soft = _soft(rng, grid, make) * min(size, 1.0)
        wander = make.wave * size
        horizon = high_mm * (sky - 0.5) + 0.6 * wander * grid.noise(rng, 14 * size, 3)
        ground = high_mm * (0.5 - shore) + 1.4 * wander * grid.noise(rng, 11 * size, 4)
        sky_weight = soft_step(horizon - y, soft)
        host = soft_step(y - ground, soft)
        if islet:
            depth = high_mm * (1 - sky - shore)
            at = rng.uniform(-18, 18) * size, high_mm * (sky - 0.5) + rng.uniform(0.45, 0.6) * depth
            half = rng.uniform(4.0, 6.5) * size, min(rng.uniform(1.6, 2.4) * size, 0.22 * depth)
            out = ((x - at[0]) / half[0]) ** 2 + ((y - at[1]) / half[1]) ** 2
            host = np.maximum(host, soft_step(1 - out + 0.15 * grid.noise(rng, 3 * size, 3), 0.3))
        if not white:
            sky_weight = np.zeros_like(sky_weight)
        return _figure(sky_weight, host, _swell(rng, grid), rng, make)

    return picture


def _courses(rng, grid: Grid, make: Make, angle: float | None = None) -> NDArray:
    """A coordinate across gently bent bands, mm."""
    angle = rng.normal(0, 0.35) if angle is None else angle
    t = -np.sin(angle) * grid.u + np.cos(angle) * grid.v
    return t + 1.2 * make.wave * grid.noise(rng, 30.0, 2)


def _stripes(t: NDArray, blue_mm: float, white_mm: float, soft: float) -> NDArray:
    """Weight of white, in even bands along t."""
    at = t % (blue_mm + white_mm) - blue_mm
    return soft_step(np.minimum(at, white_mm - at), soft)


def bands(rng, grid, make):
    """Even blue and white bands."""
    blue, white = rng.uniform(4.5, 7.5), rng.uniform(3.0, 5.0)
    white_weight = _stripes(
        _courses(rng, grid, make), blue, white, min(_soft(rng, grid, make), 1.2)
    )
    return _figure(
        white_weight, np.zeros_like(white_weight), 0.8 * grid.noise(rng, 15.0, 3), rng, make
    )


def scrambled(rng, grid, make):
    """Bands broken by faults every 8 mm: blocks that are thrown and turned."""
    turn = rng.uniform(0, np.pi)
    wander = [0.8 * make.wave * grid.noise(rng, 20.0, 2) for _ in range(2)]
    a = np.cos(turn) * grid.u + np.sin(turn) * grid.v + wander[0]
    b = -np.sin(turn) * grid.u + np.cos(turn) * grid.v + wander[1]
    i, j = np.floor(a / 8).astype(int) + 64, np.floor(b / 8).astype(int) + 64
    thrown, tilts = rng.uniform(-9, 9, (128, 128)), rng.normal(0, 0.6, (128, 128))
    tilt = tilts[i, j]
    t = np.cos(tilt) * b + np.sin(tilt) * a + thrown[i, j]
    white = _stripes(t, rng.uniform(3.5, 6), rng.uniform(2.5, 4.5), 0.6)
    return _figure(white, np.zeros_like(white), 0.8 * grid.noise(rng, 15.0, 3), rng, make)


def swirls(rng, grid, make):
    """White swirls on blue, like surf seen from above."""
    x, y = grid.u.copy(), grid.v.copy()
    for _ in range(3):
        centre, reach = rng.uniform((-28, -20), (28, 20)), rng.uniform(14, 22)
        dx, dy = x - centre[0], y - centre[1]
        turn = rng.choice([-1, 1]) * rng.uniform(1.8, 3.2) * np.exp(-(dx**2 + dy**2) / reach**2)
        x, y = (
            centre[0] + np.cos(turn) * dx - np.sin(turn) * dy,
            centre[1] + np.sin(turn) * dx + np.cos(turn) * dy,
        )
    t = y + 2.0 * grid.noise(rng, 18.0, 3)
    white = _stripes(t, rng.uniform(8, 12), rng.uniform(3.5, 6), max(_soft(rng, grid, make), 0.8))
    return _figure(white, np.zeros_like(white), _swell(rng, grid), rng, make)


def plain(kind: str, tone: float = 0.0) -> Picture:
    """One colour all over: "blue", "white" or "host"."""

    def picture(rng, grid, make):
        zero, one = np.zeros(grid.shape), np.ones(grid.shape)
        white, host = {"blue": (zero, zero), "white": (one, zero), "host": (zero, one)}[kind]
        return _figure(white, host, tone + 1.2 * grid.noise(rng, 12.0, 4), rng, make)

    return picture


def seam(broad_mm: float, blue: bool) -> Picture:
    """A seam right across host: pale, or strong blue within white walls."""

    def picture(rng, grid, make):
        t = _courses(rng, grid, make, rng.normal(0, 0.25)) - rng.uniform(-7, 7)
        soft = min(_soft(rng, grid, make), 0.4 * broad_mm)
        edge = 0.05 * broad_mm * make.wave * grid.noise(rng, 8.0, 3)
        host = soft_step(np.abs(t) - broad_mm / 2 + edge, soft)
        core = soft_step(rng.uniform(0.28, 0.36) * broad_mm - np.abs(t), soft)
        white = 1 - core if blue else np.ones_like(core)
        return _figure(white, host, 2 * grid.noise(rng, 10.0, 4), rng, make)

    return picture


def half_host(rng, grid, make):
    """Half host, half bands."""
    pattern = bands(rng, grid, make)
    host = soft_step(-grid.u + 3 * make.wave * grid.noise(rng, 20.0, 4), 1.0)
    return replace(pattern, host=np.float32(host), white=np.float32(pattern.white * (1 - host)))


def corner_scene(rng, grid, make):
    """Host with a scene of 40 x 30 mm in a corner."""
    x0, y0 = rng.choice([-1, 1]) * 27.0, rng.choice([-1, 1]) * 17.0
    inner = landscape(31.0)(
        rng, replace(grid, u=grid.u - np.float32(x0), v=grid.v - np.float32(y0)), make
    )
    out = (np.abs((grid.u - x0) / 23.0) ** 3 + np.abs((grid.v - y0) / 17.5) ** 3) ** (1 / 3)
    around = soft_step(out - 1 + 0.03 * grid.noise(rng, 5.0, 3), 0.06)
    host = np.maximum(inner.host, around)
    return replace(inner, host=np.float32(host), white=np.float32(inner.white * (1 - host)))


# Cracks, as paths in mm on a face of 80 x 60.


def _path(*points: tuple[float, float]) -> NDArray[np.float64]:
    at = np.linspace(0, len(points) - 1, 60)
    return np.stack(
        [np.interp(at, np.arange(len(points)), [p[axis] for p in points]) for axis in (0, 1)],
        axis=1,
    )


def corner_to_corner(rng) -> tuple[NDArray, ...]:
    side = rng.choice([-1, 1])
    return (_path((-44, -33 * side), rng.uniform(-6, 6, 2), (44, 33 * side)),)


def six_across(rng) -> tuple[NDArray, ...]:
    places = np.linspace(-32, 32, 6) + rng.uniform(-2.5, 2.5, 6)
    lean = rng.normal(0, 4)
    return tuple(
        _path((x - lean, -36), (x + rng.uniform(-2, 2), 0), (x + lean, 36)) for x in places
    )


def through_the_scene(rng) -> tuple[NDArray, ...]:
    if rng.random() < 0.5:
        return (
            _path((-46, rng.uniform(-12, 0)), (0, rng.uniform(-8, 2)), (46, rng.uniform(-8, 6))),
        )
    return (
        _path((rng.uniform(-10, 10), -36), (rng.uniform(-6, 6), 0), (rng.uniform(-10, 10), 36)),
    )


def in_the_shore(rng) -> tuple[NDArray, ...]:
    return (_path((-46, rng.uniform(21, 25)), (0, rng.uniform(20, 25)), (46, rng.uniform(21, 25))),)


BIG, MIDDLE = (80.0, 60.0), (60.0, 45.0)
SCENE = landscape()
FINE, GOOD, POOR = ("select",), ("select", "cabbing"), ("tumbling", "waste")
CASES = {
    case.name: case
    for case in (
        Case("1", "sky, deep water, rusty shore, one islet", BIG, FINE, SCENE, "rusty"),
        Case("2", "the same with a high shore", BIG, GOOD, landscape(shore=0.45, sky=0.35), "rusty"),
        Case("3", "even blue and white bands", BIG, GOOD, bands),
        Case("4", "bands, one crack corner to corner", BIG, ("cabbing",), bands, cracks=corner_to_corner),
        Case("5", "bands, six cracks across", BIG, POOR, bands, cracks=six_across),
        Case("6", "bands scrambled by faults", BIG, ("tumbling", "cabbing"), scrambled, scene=(0, 60)),
        Case("7", "one plain strong blue", MIDDLE, ("cabbing", "tumbling"), plain("blue"), scene=(0, 20)),
        Case("8", "one plain pale blue-grey", MIDDLE, ("tumbling",), plain("blue", 6.0), blues=("steel", "sky"),
             chroma_share=0.7),
        Case("9", "all white", MIDDLE, POOR, plain("white"), whites=("clean", "cream")),
        Case("10", "grey host, one pale seam of 2 mm", BIG, POOR, seam(2.0, blue=False), "grey", scene=(0, 35)),
        Case("10b", "host, a seam of strong blue and white, 14 mm", BIG, GOOD, seam(14.0, blue=True), scene=(50, 100)),
        Case("11", "rusty host only", BIG, ("waste",), plain("host"), "rusty", scene=(0, 20)),
        Case("12", "the scene of 1 in small, 25 x 18", (25.0, 18.5), GOOD, landscape(18.5), "rusty"),
        Case("13", "the same, 14 x 10", (14.0, 10.0), ("tumbling",), landscape(10.0), "rusty"),
        Case("14", "half grey host, half bands", (120.0, 90.0), GOOD, half_host, "grey"),
        Case("15", "host with the scene of 1 in a corner", (120.0, 90.0), GOOD, corner_scene, "rusty"),
        Case("16", "1 with a crack through the scene", BIG, ("cabbing",), SCENE, "rusty", cracks=through_the_scene),
        Case("17", "1 with a crack in the shore", BIG, GOOD, SCENE, "rusty", cracks=in_the_shore),
        Case("18", "1 with healed white lines", BIG, GOOD, SCENE, "rusty", healed=2),
        Case("19", "3 with 15 % lamp reflections", BIG, GOOD, bands, lamp_share=0.15),
        Case("20", "3 with 35 % lamp reflections", BIG, ("retake",), bands, lamp_share=0.35),
        Case("21", "1 upside down and on its side", BIG, FINE, SCENE, "rusty", turn_deg=(180.0, 90.0, 270.0)),
        Case("22", "1 in shade, under a bulb, at noon", BIG, FINE, SCENE, "rusty",
             lamps=("open shade", "warm bulb", "sun")),
        Case("23", "3 in half the colour", BIG, ("cabbing", "tumbling"), bands, chroma_share=0.5),
        Case("24", "swirls of white on blue like surf", BIG, GOOD, swirls, scene=(50, 100)),
    )
}  # fmt: skip

#: Pictures that are no case of their own, for the order of scenes.
NO_ISLET = Case("1 without the islet", "", BIG, FINE, landscape(islet=False), "rusty")
NO_WHITE = Case("1 without white", "", BIG, GOOD, landscape(white=False), "rusty")
#: On an oval that the smallest template just fits, so that none lies level on it.
TILTED = Case(
    "1 tilted by 25°", "", (19.2, 13.9), GOOD, landscape(13.9, tilt_deg=25), "rusty", squareness=2.0
)
#: Best first; those of one group in any order.
ORDER = (
    (CASES["1"], NO_ISLET), (CASES["24"], CASES["10b"]), (CASES["3"],), (TILTED,), (NO_WHITE,), (CASES["16"],),
    (CASES["6"],), (CASES["10"], CASES["7"], CASES["11"]),
)  # fmt: skip
