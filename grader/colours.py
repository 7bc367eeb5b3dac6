"""A profile fitted to the seller's own stone, from a few spots marked on photos."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import tomlkit
from numpy.typing import NDArray

from grader.checks import nearest
from grader.errors import GraderError, SpotsError, quoted
from grader.face.face import Face
from grader.face.regions.classes import fit_classes
from grader.face.regions.regions import find_regions
from grader.face.sight.glare import find_glare
from grader.grade import MeasuredPhoto
from grader.ledger.store import Ledger
from grader.looking import measured_again
from grader.looks import ask_for, asks_again, last_look, located
from grader.photo.colour import lab_from_linear, linear_srgb
from grader.photo.photo import Photo
from grader.photo.terms import PhotoTerms
from grader.profile import Profile, profile_text
from grader.spots import FaceShares, FittedProfile, Spot

#: A point stands for a square of this share of the photo's longer side; of each spot so many px are read at most.
POINT_SHARE, SPOT_PX = 0.004, 400


def marked_photos(
    spots: Sequence[Spot],
    folders: Sequence[Path],
    terms: PhotoTerms,
    profile: Profile,
    ledger: Ledger | None,
    on_photo: Callable[[int, int], None] = lambda done, total: None,
) -> dict[str, MeasuredPhoto]:
    """Return the photos that spots name, measured as they were shown last, else on these terms.

    Raises
    ------
    SpotsError
        Photos that cannot be read: a line for each.
    """
    photos, refused = {}, []
    names = list(dict.fromkeys(spot.photo for spot in spots))
    for number, name in enumerate(names, start=1):
        path = next((folder / name for folder in folders if (folder / name).is_file()), Path(name))
        try:
            ask = ask_for(path, terms, ledger)
            if ledger is not None and (shown := last_look(ask.sha256, ledger)) is not None:
                ask = located(asks_again([shown], ledger)[0], ledger)
            photos[name] = measured_again(ask, profile)
        except GraderError as err:
            refused.append(str(err))
        on_photo(number, len(names))
    if refused:
        raise SpotsError("\n".join(refused))
    return photos


def fit_profile(
    spots: Sequence[Spot],
    photos: Mapping[str, MeasuredPhoto],
    profile_name: str | Path,
    *,
    name: str,
) -> FittedProfile:
    """Return the profile with its colour classes moved to the marked spots, and what that changes.

    Parameters
    ----------
    photos : that the spots name, of :func:`marked_photos`: their colours are those that grading sees.
    name : of the new profile.

    Raises
    ------
    SpotsError
        Unknown classes, or spots off their photo: a line for each.
    SettingsError, ModelError
        The profile, or what the tool itself ships, cannot be used.
    """
    base, text = profile_text(profile_name)
    spots = _sound_spots(spots, photos, base)
    marked: dict[str, list[NDArray]] = {}
    for spot in spots:
        marked.setdefault(spot.name, []).append(_spot_lab(photos[spot.photo], spot))
    fitted = replace(fit_classes(marked, base), name=name, version=base.version + 1)
    named, shares = _compared(spots, photos, base, fitted)
    return FittedProfile(
        profile=fitted,
        text=_with_ranges(text, fitted),
        spots={name: len(spots_of_class) for name, spots_of_class in marked.items()},
        wrong_before=tuple(spot for spot, (before, _) in named.items() if not before),
        wrong=tuple(spot for spot, (_, after) in named.items() if not after),
        off_stone=tuple(spot for spot in spots if spot not in named),
        shares=tuple(shares),
    )


def _sound_spots(
    spots: Sequence[Spot], photos: Mapping[str, MeasuredPhoto], profile: Profile
) -> list[Spot]:
    """The spots with their classes as the profile spells them; ``SpotsError`` where some cannot be used."""
    names = {name.casefold(): name for name in _names(profile)}
    refused = [_unknown(spot, profile) for spot in spots if spot.name.casefold() not in names]
    if refused:
        raise SpotsError("\n".join(refused))
    spots = [replace(spot, name=names[spot.name.casefold()]) for spot in spots]
    refused = [off for spot in spots if (off := _off(spot, photos[spot.photo].photo))]
    if refused:
        raise SpotsError("\n".join(refused))
    if len({spot.name for spot in spots}) < 2:
        raise SpotsError(
            "spots of one class only; mark two classes at least, so that they can be told apart"
        )
    return spots


def _off(spot: Spot, photo: Photo) -> str | None:
    """What is wrong with a spot that does not lie in its photo."""
    right, low = spot.x + (spot.w or 0), spot.y + (spot.h or 0)
    starts = 0 <= spot.x < photo.width and 0 <= spot.y < photo.height
    if starts and right <= photo.width and low <= photo.height:
        return None
    return f"{spot.where}: off the photo of {photo.width} x {photo.height} px; mend it"


def _names(profile: Profile) -> list[str]:
    return [colour.name for colour in profile.colours]


def _unknown(spot: Spot, profile: Profile) -> str:
    names = _names(profile)
    return f"{spot.where}: no class {quoted(spot.name)}{nearest(spot.name, names)}; one of {', '.join(names)}"


def _spot_lab(measured: MeasuredPhoto, spot: Spot) -> NDArray[np.float32]:
    """CIELAB of the spot's pixels, (n, 3), ``SPOT_PX`` at most; by the light of the photo, as faces are."""
    photo = measured.photo
    half = max(2.0, POINT_SHARE * max(photo.width, photo.height) / 2)
    x0, y0, x1, y1 = (
        (spot.x - half, spot.y - half, spot.x + half, spot.y + half)
        if spot.w is None
        else (spot.x, spot.y, spot.x + spot.w, spot.y + spot.h)
    )
    rows = slice(max(0, int(y0)), max(int(y0) + 1, int(np.ceil(y1))))
    columns = slice(max(0, int(x0)), max(int(x0) + 1, int(np.ceil(x1))))
    linear = linear_srgb(np.ascontiguousarray(photo.rgb[rows, columns]), photo.encoding)
    x_px, y_px = (
        np.arange(s.start, s.start + n) + 0.5
        for s, n in ((columns, linear.shape[1]), (rows, linear.shape[0]))
    )
    lab = lab_from_linear(measured.reference.corrected(linear, x_px, y_px)).reshape(-1, 3)
    return lab[:: 1 + (len(lab) - 1) // SPOT_PX]


def _compared(spots, photos: Mapping[str, MeasuredPhoto], base: Profile, fitted: Profile):
    """By spot on a stone whether it is named as marked before and after; and the shares of every stone that
    holds a spot."""
    named, shares = {}, []
    for name, photo in photos.items():
        for piece in photo.pieces:
            face = piece.face
            held = [
                (spot, at, 1 + _names(base).index(spot.name))
                for spot in spots
                if spot.photo == name and (at := _place(spot, face)) is not None
            ]
            if not held:
                continue
            glare = find_glare(face)
            looks = [find_regions(face, glare, profile) for profile in (base, fitted)]
            named |= {spot: [look.codes[at] == code for look in looks] for spot, at, code in held}
            before, after = ({k: v.value for k, v in look.shares.items()} for look in looks)
            shares.append(FaceShares(name, piece.piece.id, before, after))
    return named, shares


def _place(spot: Spot, face: Face) -> tuple[int, int] | None:
    """Row and column of the spot's middle in the face; ``None`` off the stone."""
    middle = np.array([spot.x + (spot.w or 0) / 2, spot.y + (spot.h or 0) / 2])
    column, row = ((middle - face.origin_px) * face.px_per_photo_px).astype(int)
    inside = 0 <= row < face.mask.shape[0] and 0 <= column < face.mask.shape[1]
    return (int(row), int(column)) if inside and face.mask[row, column] else None


def _with_ranges(text: str, profile: Profile) -> str:
    """The base profile's text, comments and all, with the new name and ranges."""
    document = tomlkit.parse(text)
    document["name"], document["version"] = profile.name, profile.version
    for table, colour in zip(document["colours"], profile.colours, strict=True):
        for key in ("lightness", "chroma", "hue_deg"):
            table[key] = list(getattr(colour, key))
    return tomlkit.dumps(document)
