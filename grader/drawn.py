"""Rendered faces with two sets of features: as measured in the photo, and of the exact truth."""

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.bands.bands import measure_bands
from grader.face.face import Face
from grader.face.measurements import Line, Measurements, RegionColour, Regions, Share
from grader.face.room import measure_room
from grader.face.scene.scene import measure_scene
from grader.face.sight.cut import cut_face, fill_outline
from grader.grade import measure_photo
from grader.grading.features.features import features
from grader.grading.features.rules import Features
from grader.grading.models.familiarity import appearance_features
from grader.measures import UNREADABLE
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo, Scale
from grader.photo.pieces import Piece
from grader.photo.reference import estimated_reference, no_reference
from grader.photo.terms import PhotoTerms
from grader.profile import Profile
from grader.render import Rendered, StoneTruth, Style, render_photo

#: A piece is a drawn stone where they share this much (intersection over union).
SAME_STONE = 0.6

#: A crack counts where this part of it shows in the finished photo.
LEAST_SHOWN_SHARE = 0.5

#: How the classes of a rendered truth read, in the order of its codes 1, 2, 3.
READINGS = ("water", "sky", "shore")


@dataclass(frozen=True)
class DrawnFace:
    """One stone of a rendered photo: features measured and true, and its appearance; photo and stone by number."""

    photo: int
    stone: int
    measured: Features
    true: Features
    appearance: Mapping[str, float]


def draw_faces(style: Style, photos: range, seed: int, profile: Profile) -> Iterator[DrawnFace]:
    """Yield the faces of rendered photos, one photo after the other.

    A photo is settled by seed, style and its number alone. Left out are stones that are not found
    or that a seller would be asked to photograph again: they get no proposal either.

    Parameters
    ----------
    photos : numbers of the photos.
    """
    for number in photos:
        name = int.from_bytes(hashlib.sha256(style.name.encode()).digest()[:4], "big")
        rng = np.random.default_rng([seed, name, number])
        stones = int(rng.choice([1, 2, 3, 4], p=[0.3, 0.25, 0.25, 0.2]))
        rendered = render_photo(
            rng, style, width_px=1000, height_px=750, stones=stones, touching=False, cut=False
        )
        # Half of the photos have a scale, as with sellers.
        scale = rendered.mm_per_px if rng.random() < 0.5 else None
        yield from _faces(number, rendered, scale, profile)


def _faces(
    number: int, rendered: Rendered, mm_per_px: float | None, profile: Profile
) -> Iterator[DrawnFace]:
    photo = Photo(
        name=f"drawn {number}",
        rgb=rendered.rgb,
        encoding=srgb_encoding(),
        sha256=hashlib.sha256(rendered.rgb.tobytes()).hexdigest(),
        scale=Scale(mm_per_px, None if mm_per_px is None else "hand"),
    )
    # The scale is the camera's own, and no card lies in these photos.
    measured = measure_photo(photo, PhotoTerms(), profile, estimated_reference(photo))
    for found in measured.pieces:
        stone = same_stone(found.piece, rendered)
        if stone is None or found.verdict.value == "retake":
            continue
        true = true_measurements(photo, found.piece, rendered, stone, profile)
        yield DrawnFace(
            number,
            stone.id,
            features(found.measurements, profile),
            features(true, profile),
            appearance_features(found.face.lab, found.face.mask),
        )


def true_measurements(
    photo: Photo, piece: Piece, rendered: Rendered, stone: StoneTruth, profile: Profile
) -> Measurements:
    """Return what an exact eye would measure on a rendered stone.

    The measuring functions are those of every photo, on the drawn regions, colours and cracks.
    """
    cut = cut_face(photo, piece, no_reference(photo))
    x, y, w, h = piece.box
    here = (slice(y, y + h), slice(x, x + w))
    size = cut.mask.shape[::-1]
    drawn = np.where(rendered.pieces[here] == stone.id, rendered.regions[here], 0).astype(np.uint8)
    codes = cv2.resize(drawn, size, interpolation=cv2.INTER_NEAREST)
    regions = _true_regions(codes, stone, profile)
    lab = _painted(regions, profile)
    face = Face(cut.linear, lab, codes > 0, cut.px_per_photo_px, cut.origin_px, cut.mm_per_px)
    lines = tuple(_true_lines(rendered, stone, face))
    banding = measure_bands(face, regions, profile)
    return Measurements(
        regions=regions,
        banding=banding,
        lines=lines,
        scene=measure_scene(face, regions, lines, profile),
        face_area_px=int(face.mask.sum()),
        px_per_photo_px=face.px_per_photo_px,
        mm_per_px=face.mm_per_px,
        room=measure_room(face, regions, lines, profile),
    )


def same_stone(piece: Piece, rendered: Rendered) -> StoneTruth | None:
    """The drawn stone that a found piece is, if any."""
    mask = fill_outline(piece.outline, rendered.pieces.shape)
    inside = np.bincount(rendered.pieces[mask], minlength=len(rendered.stones) + 1)
    inside[0] = 0
    most = int(inside.argmax())
    if inside[most] == 0:
        return None
    union = mask.sum() + (rendered.pieces == most).sum() - inside[most]
    same = inside[most] / union >= SAME_STONE
    return next(stone for stone in rendered.stones if stone.id == most) if same else None


def _true_regions(drawn: NDArray[np.uint8], stone: StoneTruth, profile: Profile) -> Regions:
    """Regions of the drawn codes, in the profile's classes."""
    classes = {reading: next(iter(profile.codes(reading)), None) for reading in READINGS}
    code_of = np.zeros(256, np.uint8)
    code_of[UNREADABLE] = UNREADABLE
    code_of[[1, 2, 3]] = [classes[reading] for reading in READINGS]
    named = {
        profile.colours[classes[reading] - 1].name: drawn_name
        for reading, drawn_name in zip(READINGS, ("blue", "white", "host"), strict=True)
    }
    shares = {c.name: stone.shares.get(named.get(c.name), 0.0) for c in profile.colours}
    colour = {c.name: stone.colour.get(named.get(c.name)) for c in profile.colours}
    kinds = (stone.kinds["rusty"], stone.kinds["grey"])
    return Regions(
        codes=code_of[drawn],
        shares={name: Share(v, v, v) for name, v in shares.items()},
        kinds={c.name: dict(zip(c.kinds, kinds, strict=True)) for c in profile.colours if c.kinds},
        colour={name: lch and RegionColour(*lch, 0.0) for name, lch in colour.items()},
        glare_share=stone.glare_share,
    )


def _painted(regions: Regions, profile: Profile) -> NDArray[np.float32]:
    """CIELAB of the face with each class in its own true colour, without light and shade."""
    palette = np.zeros((256, 3), np.float32)
    for code, colour in enumerate(profile.colours, start=1):
        true = regions.colour[colour.name]
        if true is not None:
            hue = np.deg2rad(true.h)
            palette[code] = (true.L, true.C * np.cos(hue), true.C * np.sin(hue))
    return palette[regions.codes]


def _true_lines(rendered: Rendered, stone: StoneTruth, face: Face) -> Iterator[Line]:
    """The cracks drawn on a stone that show, in working px of its face; the parts that lie on it."""
    height, width = face.mask.shape
    for line in rendered.lines:
        if line.piece != stone.id or line.kind != "crack" or line.seen_share < LEAST_SHOWN_SHARE:
            continue
        points = (line.points - face.origin_px) * face.px_per_photo_px
        steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
        middle = np.rint((points[1:] + points[:-1]) / 2 - 0.5).astype(int)
        on = np.all((middle >= 0) & (middle < (width, height)), axis=1)
        on[on] = face.mask[middle[on, 1], middle[on, 0]]
        length = float(steps[on].sum())
        if length > 0:
            kept = points[np.concatenate([on, [False]]) | np.concatenate([[False], on])]
            yield Line(kept, length, line.width_px * face.px_per_photo_px, "crack", 1.0)
