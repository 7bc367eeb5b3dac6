"""A pinhole camera that photographs the card's layout: its own geometry, none of the grader's.

The layout is drawn as squares on paper, seen through the camera with antialiasing, lit, blurred,
grained and packed as JPEG. Heights count from the card towards the camera.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.photo.card_layout import GREYS, HEIGHT_MM, WHITES, WIDTH_MM, black_boxes

#: A seventh of a mark of 9 mm, a rim of 1.5 mm and a square of 12 mm are whole px at this scale.
FINEST_PX_PER_MM = 28
#: Paper around the card on an A4 page (ISO 216: 210 x 297 mm).
MARGIN_MM = (15.0, 28.5)
PAPER, INK, TABLE = 0.85, 0.04, 0.3
_CODES = np.arange(4096) / 4095
_SRGB = np.where(_CODES <= 0.0031308, 12.92 * _CODES, 1.055 * _CODES ** (1 / 2.4) - 0.055) * 255


@dataclass(frozen=True)
class Pinhole:
    """A camera looking at the card's middle, ``distance_mm`` away along the optical axis.

    The card is turned by ``turn_deg`` in the picture, the camera tilted by ``tilt_deg`` towards
    ``towards_deg``, and aimed ``aside_mm`` off the middle.
    ``k1`` bends the picture: radius times 1 + k1 * (radius / focal length) squared.
    """

    size_px: tuple[int, int] = (2000, 1500)
    focal_px: float = 1500.0
    distance_mm: float = 350.0
    tilt_deg: float = 0.0
    towards_deg: float = 0.0
    turn_deg: float = 0.0
    aside_mm: tuple[float, float] = (0.0, 0.0)
    k1: float = 0.0

    def frame(self) -> tuple[NDArray, NDArray]:
        """Rotation and place of the camera: ray = rotation @ (point - place)."""
        tilt, towards, turn = np.deg2rad([self.tilt_deg, self.towards_deg, self.turn_deg])
        axis = np.array(
            [np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)]
        )
        across = np.cross([0.0, 1.0, 0.0], axis)
        across /= np.linalg.norm(across)
        rows = np.array([across, np.cross(axis, across), axis])
        c, s = np.cos(turn), np.sin(turn)
        rotation = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ rows
        aim = np.array([WIDTH_MM / 2 + self.aside_mm[0], HEIGHT_MM / 2 + self.aside_mm[1], 0.0])
        return rotation, aim - self.distance_mm * axis

    @property
    def height_mm(self) -> float:
        """Height of the lens above the card's plane."""
        return float(-self.frame()[1][2])

    def project(self, points_mm: NDArray, height_mm: NDArray | float = 0.0) -> NDArray[np.float64]:
        """Return points (n, 2) at a height above the card as px; pixel (0, 0) spans 0 to 1."""
        rotation, place = self.frame()
        points = np.asarray(points_mm, float)
        # The card's own z points away from the camera.
        deep = np.broadcast_to(-np.asarray(height_mm, float), points.shape[:1])
        rays = (np.column_stack([points, deep]) - place) @ rotation.T
        plane = rays[:, :2] / rays[:, 2:]
        plane = plane * (1 + self.k1 * (plane**2).sum(axis=1, keepdims=True))
        return plane * self.focal_px + np.array(self.size_px) / 2

    def card_points(self, points_px: NDArray, surface: Callable | None) -> NDArray[np.float32]:
        """Return where on the card (mm) the rays of px meet it, lifted as ``surface(x, y)`` says."""
        rotation, place = self.frame()
        distorted = (points_px - np.array(self.size_px) / 2) / self.focal_px
        straight = distorted.copy()
        for _ in range(6 if self.k1 else 0):
            straight = distorted / (1 + self.k1 * (straight**2).sum(axis=1, keepdims=True))
        rays = np.column_stack([straight, np.ones(len(straight))]) @ rotation
        lift = np.zeros(len(rays))
        for _ in range(6 if surface else 1):
            met = place[:2] + rays[:, :2] * ((-lift - place[2]) / rays[:, 2])[:, None]
            lift = surface(*met.T) if surface else lift
        return met.astype(np.float32)


@dataclass(frozen=True)
class Light:
    """How the picture is lit, blurred and stored. ``paper`` is the code of white paper."""

    paper: float = 215.0
    fall_off: float = 1.0
    blur_px: float = 0.7
    motion_px: float = 0.0
    noise: float = 2.0
    quality: int = 90


def page() -> NDArray[np.uint8]:
    """Return the printed page as linear light in 255ths, at ``FINEST_PX_PER_MM``."""
    scale = FINEST_PX_PER_MM
    sides = [
        round((s + 2 * m) * scale) for s, m in zip((WIDTH_MM, HEIGHT_MM), MARGIN_MM, strict=True)
    ]
    picture = np.full(sides[::-1], round(PAPER * 255), np.uint8)
    for box, share in [(b, INK) for b in black_boxes()] + [(g.box, g.nominal_y) for g in GREYS]:
        left, top = ((a + m) * scale for a, m in zip((box.x_mm, box.y_mm), MARGIN_MM, strict=True))
        rows = slice(round(top), round(top + box.h_mm * scale))
        picture[rows, round(left) : round(left + box.w_mm * scale)] = round(share * 255)
    for box in WHITES:
        corners = (box.corners_mm() + MARGIN_MM) * scale
        cv2.polylines(picture, [corners.astype(np.int32)], True, 60, 6)
    return picture


@dataclass(frozen=True)
class Scene:
    """Pages of falling size for antialiasing, and what lies on them."""

    pages: tuple[NDArray[np.uint8], ...]

    @classmethod
    def of(cls, picture: NDArray[np.uint8]) -> "Scene":
        pages = [picture]
        while min(pages[-1].shape) > 600:
            half = tuple(side // 2 for side in pages[-1].shape[::-1])
            pages.append(cv2.resize(pages[-1], half, interpolation=cv2.INTER_AREA))
        return cls(tuple(pages))


def with_stone(picture: NDArray[np.uint8], rng: np.random.Generator) -> NDArray[np.uint8]:
    """Return the page with a banded blot on the stone's place."""
    picture = picture.copy()
    stone = cv2.resize(
        rng.integers(0, 256, (9, 3), np.uint8), (2400, 3000), interpolation=cv2.INTER_CUBIC
    )
    mask = np.zeros_like(stone)
    cv2.ellipse(
        mask,
        (1200, 1500),
        (int(rng.uniform(500, 1150)), int(rng.uniform(600, 1450))),
        0,
        0,
        360,
        255,
        -1,
    )
    top, left = int((MARGIN_MM[1] + 46) * 28), int((MARGIN_MM[0] + 58) * 28)
    part = picture[top : top + 3000, left : left + 2400]
    part[mask > 0] = stone[mask > 0]
    return picture


def photograph(
    scene: Scene,
    camera: Pinhole,
    light: Light,
    rng: np.random.Generator,
    *,
    surface: Callable | None = None,
    glare: tuple[float, float, float] | None = None,
    cover: NDArray | None = None,
) -> NDArray[np.uint8]:
    """Return the photo as (h, w, 3) sRGB.

    surface : height of the card's paper over its plane (mm) at x, y.   glare : x, y, radius in mm of a
    burnt spot on the card.   cover : polygon (n, 2) in mm of the card that something dark hides.
    """
    width, height = camera.size_px
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * (WIDTH_MM, HEIGHT_MM)
    at = camera.project(corners)
    per_mm = np.sqrt(cv2.contourArea(at.astype(np.float32)) / (WIDTH_MM * HEIGHT_MM))
    # Twice as fine as the photo, from a page that is about as fine again.
    level = int(
        np.clip(np.floor(np.log2(FINEST_PX_PER_MM / (2 * per_mm))), 0, len(scene.pages) - 1)
    )
    picture, scale = scene.pages[level], FINEST_PX_PER_MM / 2**level
    table = cv2.resize(
        rng.uniform(0.4, 1.6, (12, 16)).astype(np.float32) * TABLE * 255,
        (width, height),
        interpolation=cv2.INTER_CUBIC,
    )
    if surface is None and not camera.k1:
        on_page = (corners + MARGIN_MM) * scale - 0.5
        matrix = cv2.getPerspectiveTransform(
            on_page.astype(np.float32), (at * 2 - 0.5).astype(np.float32)
        )
        fine = cv2.warpPerspective(
            picture, matrix, (2 * width, 2 * height), flags=cv2.INTER_LINEAR, borderValue=0
        )
    else:
        x, y = np.meshgrid((np.arange(2 * width) + 0.5) / 2, (np.arange(2 * height) + 0.5) / 2)
        met = camera.card_points(np.column_stack([x.ravel(), y.ravel()]), surface)
        met = ((met + np.float32(MARGIN_MM)) * scale - 0.5).astype(np.float32)
        maps = met.reshape(2 * height, 2 * width, 2)
        fine = cv2.remap(picture, maps, None, cv2.INTER_LINEAR, borderValue=0)
    image = cv2.resize(fine, (width, height), interpolation=cv2.INTER_AREA).astype(np.float32)
    image = np.where(image < 4, table, image)
    if cover is not None:
        cv2.fillPoly(image, [camera.project(cover, 3.0).astype(np.int32)], 40.0)
    image = cv2.GaussianBlur(image, (0, 0), light.blur_px)
    if light.motion_px > 1:
        way = rng.uniform(0, np.pi)
        kernel = np.zeros((15, 15), np.float32)
        reach = np.array([np.cos(way), np.sin(way)]) * light.motion_px / 2
        cv2.line(
            kernel,
            *(tuple(np.round((7 + s * reach) * 16).astype(int).tolist()) for s in (-1, 1)),
            1.0,
            1,
            cv2.LINE_AA,
            4,
        )
        image = cv2.filter2D(image, -1, kernel / kernel.sum())
    way = rng.uniform(0, 2 * np.pi)
    ramp = (
        np.cos(way) * np.linspace(-1, 1, width)[None]
        + np.sin(way) * np.linspace(-1, 1, height)[:, None]
    )
    ramp = 1 - (1 - light.fall_off) * (ramp / (2 * np.abs(ramp).max()) + 0.5)
    at_paper = ((light.paper / 255 + 0.055) / 1.055) ** 2.4 / PAPER
    image = image / 255 * at_paper * ramp
    if glare is not None:
        turn = np.linspace(0, 2 * np.pi, 60)
        spot = camera.project(np.column_stack([np.cos(turn), np.sin(turn)]) * glare[2] + glare[:2])
        burnt = np.zeros((height, width), np.float32)
        cv2.fillPoly(burnt, [spot.astype(np.int32)], 2.0)
        image = image + cv2.GaussianBlur(burnt, (0, 0), 0.15 * glare[2] * per_mm)
    codes = _SRGB[np.clip(image * 4095, 0, 4095).astype(np.int32)]
    codes = codes + rng.standard_normal(codes.shape, np.float32) * light.noise
    stored = cv2.imencode(
        ".jpg",
        np.clip(codes + 0.5, 0, 255).astype(np.uint8),
        [cv2.IMWRITE_JPEG_QUALITY, light.quality],
    )[1]
    return np.repeat(cv2.imdecode(stored, cv2.IMREAD_GRAYSCALE)[..., None], 3, axis=2)


def random_camera(
    rng: np.random.Generator, size_px: tuple[int, int], tilt_deg: float, fill: tuple[float, float]
) -> Pinhole:
    """Return a phone at a random turn that sees the whole card, filling so much of the picture."""
    long_px = max(size_px)
    # 24 to 30 mm of a 35 mm camera, by the diagonal of a 4:3 picture.
    focal_px = rng.uniform(24, 30) * 1.25 * long_px / np.hypot(36, 24)
    camera = Pinhole(
        size_px,
        focal_px,
        300.0,
        tilt_deg,
        rng.uniform(0, 360),
        rng.uniform(0, 360),
        tuple(rng.uniform(-15, 15, 2)),
    )
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * (WIDTH_MM, HEIGHT_MM)
    wanted, near, far = rng.uniform(*fill), 150.0, 3000.0
    for _ in range(25):
        camera = replace(camera, distance_mm=(near + far) / 2)
        reach = np.abs(camera.project(corners) / size_px - 0.5).max() * 2
        near, far = (camera.distance_mm, far) if reach > wanted else (near, camera.distance_mm)
    return camera


def random_light(rng: np.random.Generator, long_px: int = 4000) -> Light:
    """Return light, blur and noise as phones have them, poor ones among them.

    Blur is that of a 12-megapixel camera; a smaller photo is one that was made smaller.
    """
    part = long_px / 4000
    return Light(
        paper=rng.uniform(120, 245),
        fall_off=rng.uniform(0.5, 1),
        blur_px=max(0.4, rng.uniform(0.5, 2.0) * part),
        motion_px=rng.uniform(0, 6) * part if rng.random() < 0.3 else 0.0,
        noise=rng.uniform(0.5, 6),
        quality=int(rng.integers(75, 97)),
    )
