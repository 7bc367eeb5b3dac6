"""What the stones lie on: felt, paper, cloth, wood, board, tray, rubble, crystals, a hand, sand."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.noise import bend, cell_values, cells, fbm, grain, soft_step
from grader.render.pigment import reflectance
from grader.render.shape import slopes


@dataclass(frozen=True)
class Ground:
    """reflect : (h, w, 3).   nx, ny : of the normals.   mirror : strength of its sheen, 0 for felt."""

    reflect: NDArray[np.float32]
    nx: NDArray[np.float32]
    ny: NDArray[np.float32]
    mirror: float


@dataclass(frozen=True)
class Table:
    """x, y : table px of each px of the photo.   unit : size of a detail that is 1 px in a 1200 px wide photo."""

    x: NDArray[np.float32]
    y: NDArray[np.float32]
    unit: float

    @property
    def shape(self) -> tuple[int, int]:
        return self.x.shape


def draw_ground(rng: np.random.Generator, name: str, table: Table) -> Ground:
    """Return a ground of that name (an entry of the catalogue's grounds)."""
    lab, height, mirror = _GROUNDS[name](rng, table)
    if lab.shape[:2] != table.shape:
        lab = np.broadcast_to(lab, (*table.shape, 3))
    reflect = reflectance(np.ascontiguousarray(lab, np.float32))
    if height is None:
        flat = np.zeros(table.shape, np.float32)
        return Ground(reflect, flat, flat, mirror)
    nx, ny = height if isinstance(height, tuple) else slopes(height.astype(np.float32))
    return Ground(reflect, nx.astype(np.float32), ny.astype(np.float32), mirror)


def _plain(rng, table: Table, lab, spread: float, cell: float = 300.0) -> NDArray[np.float32]:
    out = np.empty((*table.shape, 3), np.float32)
    out[:] = np.float32(lab)
    out[..., 0] += np.float32(spread) * fbm(rng, table.shape, cell * table.unit, 3)
    return out


def _tinted(rng, low: float, high: float, chroma: float) -> NDArray:
    hue, c = rng.uniform(0, 2 * np.pi), rng.uniform(0, chroma)
    return np.array([rng.uniform(low, high), c * np.cos(hue), c * np.sin(hue)])


def _felt(rng, table: Table, lab):
    lab = _plain(rng, table, lab, 1.0)
    u = table.unit
    fibres = (
        grain(rng, table.shape, 0.8 * u)
        + np.float32(0.8) * fbm(rng, table.shape, (9 * u, 3 * u), 2)
        + np.float32(0.8) * fbm(rng, table.shape, (3 * u, 9 * u), 2)
    )
    lab[..., 0] += fibres * np.float32(rng.uniform(1.2, 3.2))
    lint = soft_step(grain(rng, table.shape, 0.9 * u) - rng.uniform(3.2, 4.2), 0.3)
    lab[..., 0] += lint * np.float32(rng.uniform(10, 35))
    return lab, fibres * np.float32(0.25), 0.0


def _brown_felt(rng, table):
    return _felt(rng, table, [rng.uniform(14, 32), rng.uniform(2, 8), rng.uniform(4, 14)])


def _black_felt(rng, table):
    return _felt(rng, table, [rng.uniform(5, 16), rng.normal(0, 1), rng.normal(0, 1.5)])


def _grey_felt(rng, table):
    return _felt(rng, table, [rng.uniform(28, 58), rng.normal(0, 1), rng.normal(0, 2)])


def _paper(rng, table, lab):
    lab = _plain(rng, table, lab, rng.uniform(0.2, 1.0), 500)
    fibre = fbm(rng, table.shape, 4 * table.unit, 3)
    lab[..., 0] += fibre * np.float32(rng.uniform(0.1, 0.8))
    return (
        lab,
        fibre * np.float32(rng.uniform(0.0, 0.12)),
        float(rng.choice([0.0, rng.uniform(0.1, 0.4)], p=[0.7, 0.3])),
    )


def _white_paper(rng, table):
    return _paper(rng, table, [rng.uniform(90, 97.5), rng.normal(0, 0.8), rng.normal(0, 1.5)])


def _grey_paper(rng, table):
    return _paper(rng, table, [rng.uniform(40, 80), rng.normal(0, 1), rng.normal(0, 2)])


def _coloured_paper(rng, table):
    hue, chroma = rng.uniform(0, 2 * np.pi), rng.uniform(12, 50)
    return _paper(rng, table, [rng.uniform(30, 82), chroma * np.cos(hue), chroma * np.sin(hue)])


def _backdrop(rng, table):
    """A sweep from light to dark, a little glossy."""
    lab = _plain(rng, table, _tinted(rng, 50, 92, 3), 0.3, 600)
    slope = rng.normal(0, 9, 2)
    h, w = table.shape
    lab[..., 0] += np.float32(slope[0] / w) * table.x + np.float32(slope[1] / h) * table.y
    lab[..., 0] += grain(rng, table.shape, 0.9 * table.unit) * np.float32(rng.uniform(0, 1.2))
    return np.clip(lab, (8, -9, -9), (97, 9, 9)), None, float(rng.uniform(0.2, 0.8))


def _cloth(rng, table):
    lab = _plain(rng, table, _tinted(rng, 15, 92, 30), 1.0)
    weave, height = _weave(rng, table)
    lab[..., 0] += weave * np.float32(rng.uniform(2, 6))
    crease = fbm(rng, table.shape, 260 * table.unit, 3) * np.float32(
        rng.uniform(0, 14) * table.unit
    )
    return lab, height + crease, 0.0


def _weave(rng, table):
    """Return threads over and under: brightness and height."""
    pitch = np.float32(2 * np.pi / (rng.uniform(4, 12) * table.unit))
    a = rng.uniform(0, np.pi)
    x, y = np.cos(a) * table.x + np.sin(a) * table.y, np.cos(a) * table.y - np.sin(a) * table.x
    wobble = fbm(rng, table.shape, 60 * table.unit, 3) * np.float32(0.5)
    warp, weft = np.sin(x * pitch + wobble), np.sin(y * pitch + wobble)
    over = np.sign(warp * weft)
    threads = np.where(over > 0, np.abs(warp), np.abs(weft)) + np.float32(0.3) * grain(
        rng, table.shape, 0.8 * table.unit
    )
    return threads - 0.6, threads * np.float32(0.5 * table.unit)


def _wood(rng, table):
    """Planks with long grain and pores."""
    tone = [rng.uniform(25, 78), rng.uniform(4, 15), rng.uniform(14, 34)]
    h, w = table.shape
    side = int(1.45 * max(h, w))
    u = table.unit
    long = fbm(rng, (side // 2, side // 2), (18 * u, 400 * u), 5, 0.6)
    rings = np.sin(long * rng.uniform(2, 6)) + np.float32(0.7) * fbm(
        rng, long.shape, (1.5 * u, 40 * u), 2
    )
    a = rng.uniform(0, 180) if rng.random() < 0.5 else rng.choice([0, 90]) + rng.normal(0, 3)
    turn = cv2.getRotationMatrix2D((side / 4, side / 4), a, 2.0)
    turn[:, 2] += (w / 2 - side / 4, h / 2 - side / 4)
    rings = cv2.warpAffine(
        rings, turn, (w, h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
    )
    lab = _plain(rng, table, tone, 2.0)
    strength = np.float32(rng.uniform(1.5, 5))
    lab[..., 0] += rings * strength + grain(rng, table.shape, 0.8 * u) * np.float32(0.8)
    lab[..., 2] -= rings * strength * np.float32(0.4)
    if rng.random() < 0.6:  # joints between planks
        c, s = np.cos(np.radians(a)), np.sin(np.radians(a))
        off = np.mod(-s * table.x + c * table.y, np.float32(rng.uniform(150, 500) * u))
        lab[..., 0] -= 25 * np.clip(1 - np.abs(off - 20) / np.float32(rng.uniform(1, 3) * u), 0, 1)
    return lab, rings * np.float32(0.15 * u), float(rng.choice([0.0, rng.uniform(0.1, 0.6)]))


def _board(rng, table):
    """A painted or stained board with scuffs and spots."""
    lab = _plain(rng, table, _tinted(rng, 25, 88, 14), 2.5, 120)
    blotch = fbm(rng, table.shape, 40 * table.unit, 5, 0.6)
    lab[..., 0] += blotch * np.float32(rng.uniform(0.5, 3)) - 12 * soft_step(
        blotch - rng.uniform(1.8, 2.6), 0.5
    )
    return (
        lab,
        fbm(rng, table.shape, 10 * table.unit, 4, 0.6) * np.float32(0.4 * table.unit),
        float(rng.uniform(0, 0.5)),
    )


def _tray(rng, table):
    """A plastic tray: shallow ribs or a raised rim, glossy."""
    lab = _plain(rng, table, _tinted(rng, 12, 92, 28), 0.5)
    h, w = table.shape
    u = table.unit
    rim = np.maximum(
        np.abs(table.x) / (w * rng.uniform(0.46, 0.62)),
        np.abs(table.y) / (h * rng.uniform(0.46, 0.62)),
    )
    height = np.clip((rim - 1) * 8, 0, 1) * np.float32(25 * u)
    if rng.random() < 0.4:
        height += np.sin(table.x * np.float32(2 * np.pi / (rng.uniform(30, 90) * u))) * np.float32(
            rng.uniform(0.3, 2) * u
        )
    height += fbm(rng, table.shape, 6 * u, 3) * np.float32(rng.uniform(0, 0.25))
    lab[..., 0] += grain(rng, table.shape, 0.7 * u) * np.float32(0.4)
    return (
        lab,
        cv2.GaussianBlur(height.astype(np.float32), (0, 0), 1.5 * u),
        float(rng.uniform(0.4, 1.0)),
    )


def _rubble(rng, table):
    """Gravel and broken rock, of the same kinds as the host."""
    size = rng.uniform(16, 80) * table.unit
    labels, border = _stones(rng, table, size)
    tone, warm = cell_values(rng, labels), cell_values(rng, labels)
    base = _tinted(rng, 32, 64, 5)
    lab = np.empty((*table.shape, 3), np.float32)
    grit = fbm(rng, table.shape, size * 0.4, 6, 0.65)
    lab[..., 0] = base[0] + (tone - 0.5) * np.float32(rng.uniform(10, 40)) + 4 * grit
    lab[..., 1] = base[1] * 0.5 + warm * np.float32(rng.uniform(0, 8))
    lab[..., 2] = base[2] * 0.5 + warm * np.float32(rng.uniform(2, 18))
    gap = np.clip(border / np.float32(size * rng.uniform(0.06, 0.2)), 0, 1)
    lab[..., 0] *= 0.15 + 0.85 * np.sqrt(gap)
    lean_x, lean_y = cell_values(rng, labels) - 0.5, cell_values(rng, labels) - 0.5
    rounded = 1 - np.exp(-border / np.float32(size * rng.uniform(0.08, 0.25)))
    nx, ny = slopes(
        (rounded * np.float32(size * 0.3) + grit * np.float32(size * 0.02)).astype(np.float32)
    )
    height = (nx - 0.9 * lean_x, ny - 0.9 * lean_y)
    return np.clip(lab, (2, -20, -20), (95, 30, 45)), height, float(rng.choice([0.0, 0.3]))


def _crystals(rng, table):
    """A bed of pale crystals, see-through at their edges, glittering."""
    size = rng.uniform(8, 40) * table.unit
    labels, border = _stones(rng, table, size)
    lab = _plain(rng, table, _tinted(rng, 72, 92, 4), 4.0, 100)
    lab[..., 0] += (cell_values(rng, labels) - 0.5) * np.float32(rng.uniform(6, 20))
    lab[..., 0] += 3 * fbm(rng, table.shape, size * 0.4, 4, 0.6) - 9 * np.exp(
        -border / np.float32(2 * table.unit)
    )
    lean = [
        cv2.GaussianBlur(cell_values(rng, labels) - 0.5, (0, 0), 0.8 * table.unit) for _ in "xy"
    ]
    return np.clip(lab, (20, -9, -9), (97, 9, 12)), (lean[0] * 1.1, lean[1] * 1.1), 0.9


def _stones(rng, table, size: float) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
    """Return the number of the lying stone at each px, and the distance (px) to its border."""
    _, labels = cells(rng, table.shape, size)
    bent = bend(rng, labels.astype(np.float32), size * 0.5, size * 0.08, cv2.INTER_NEAREST)
    labels = bent.astype(np.int32)
    border = np.full(table.shape, 255, np.uint8)
    border[:, 1:][labels[:, 1:] != labels[:, :-1]] = 0
    border[1:][labels[1:] != labels[:-1]] = 0
    return labels, cv2.distanceTransform(border, cv2.DIST_L2, 3)


def _hand(rng, table):
    """A palm under the stone, with fingers beside each other and creases."""
    u = table.unit
    h, w = table.shape
    skin = [rng.uniform(38, 74), rng.uniform(10, 20), rng.uniform(14, 26)]
    a = rng.uniform(0, 2 * np.pi)
    across = np.cos(a) * table.x + np.sin(a) * table.y
    along = np.cos(a) * table.y - np.sin(a) * table.x
    wide = max(h, w) * rng.uniform(0.24, 0.4)
    across = across + fbm(rng, table.shape, 300 * u, 2) * np.float32(14 * u)
    t = np.mod(across / wide + 0.5, 1) - 0.5
    finger = np.sqrt(np.clip(1 - (t * 1.98) ** 2, 0, 1))
    edge = np.abs(across) < wide * 2 * rng.uniform(0.9, 1.3)
    height = finger * np.float32(wide * 0.3)
    creases = np.zeros(table.shape, np.float32)
    for k in range(int(rng.integers(2, 5))):
        at = rng.uniform(-0.5, 0.5) * max(h, w)
        line = np.abs(along - at + fbm(rng, table.shape, 120 * u, 3) * np.float32(12 * u) + k)
        creases = np.maximum(creases, np.clip(1 - line / (3 * u), 0, 1))
    pores = fbm(rng, table.shape, 7 * u, 3, 0.7)
    lab = _plain(rng, table, skin, 2.5, 150)
    lab[..., 0] += pores * np.float32(1.4) - creases * 10 - (1 - finger) * 16
    lab[..., 1] += fbm(rng, table.shape, 90 * u, 3) * 2 + creases * 4 + (1 - finger) * 3
    room = np.float32(_tinted(rng, 15, 85, 20))
    hold = (~edge)[..., None] & np.array([True])
    lab = np.where(hold, room, lab)
    height = np.where(edge, height + pores * np.float32(0.35 * u) - creases * np.float32(2 * u), 0)
    return (
        np.clip(lab, (3, -40, -40), (96, 40, 60)),
        cv2.GaussianBlur(height.astype(np.float32), (0, 0), 1.0 * u),
        0.15,
    )


def _sand(rng, table):
    """Loose sand with ripples."""
    u = table.unit
    grains = grain(rng, table.shape, 1.1 * u)
    lab = _plain(rng, table, [rng.uniform(50, 82), rng.uniform(1, 9), rng.uniform(8, 26)], 2.0)
    lab[..., 0] += grains * np.float32(rng.uniform(3, 7))
    dunes = fbm(rng, table.shape, (60 * u, 200 * u), 3) * np.float32(10 * u)
    return np.clip(lab, (5, -20, -20), (97, 30, 40)), dunes + grains * np.float32(0.7), 0.0


def _checked_cloth(rng, table):
    """A woven cloth with coloured checks."""
    lab = _plain(rng, table, _tinted(rng, 60, 92, 8), 1.0)
    other = np.float32(_tinted(rng, 20, 60, 45))
    weave, height = _weave(rng, table)
    pitch = np.float32(rng.uniform(60, 220) * table.unit)
    a = rng.normal(0, 0.4)
    x, y = np.cos(a) * table.x + np.sin(a) * table.y, np.cos(a) * table.y - np.sin(a) * table.x
    share = 0.5 * ((np.mod(x / pitch, 1) < 0.5).astype(np.float32) + (np.mod(y / pitch, 1) < 0.5))
    lab = lab + share[..., None] * (other - lab)
    lab[..., 0] += weave * np.float32(rng.uniform(2, 6))
    return np.clip(lab, (4, -60, -60), (96, 60, 60)), height, 0.0


_GROUNDS = {
    "brown felt": _brown_felt,
    "black felt": _black_felt,
    "grey felt": _grey_felt,
    "white paper": _white_paper,
    "grey paper": _grey_paper,
    "coloured paper": _coloured_paper,
    "backdrop": _backdrop,
    "cloth": _cloth,
    "wood": _wood,
    "board": _board,
    "tray": _tray,
    "rubble": _rubble,
    "crystals": _crystals,
    "hand": _hand,
    "sand": _sand,
    "checked cloth": _checked_cloth,
}
