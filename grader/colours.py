"""A profile fitted to the seller's own stone, from a few spots marked on photos."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import tomlkit
from numpy.typing import NDArray

from grader.checks import nearest
from grader.errors import GraderError, SettingsError, SpotsError, quoted
from grader.face.face import Face
from grader.face.measurements import Regions
from grader.face.regions.classes import fit_classes
from grader.face.regions.patch_words import standing
from grader.face.regions.regions import find_regions
from grader.face.sight.glare import find_glare
from grader.files import write_new
from grader.grade import MeasuredPhoto, MeasuredPiece
from grader.ledger import views
from grader.ledger.facts import SavedRegionWord
from grader.ledger.store import Ledger
from grader.looking import kept_face, measured_again
from grader.looks import Look, ask_for, asks_again, last_look, located, path_of
from grader.measures import UNREADABLE
from grader.photo.colour import lab_from_linear, linear_srgb
from grader.photo.photo import Photo
from grader.photo.terms import PhotoTerms
from grader.profile import Profile, profile_text
from grader.settings import FILE
from grader.spots import (
    ENOUGH_SPOTS,
    ENOUGH_STONES,
    GLARE,
    FaceShares,
    FittedProfile,
    HeldOut,
    Judgement,
    Spot,
    at_cell,
)

#: A point stands for a square of this share of the photo's longer side; of each spot so many px are read at most.
POINT_SHARE, SPOT_PX = 0.004, 400
#: Less than this share of the marked px, 0 to 1, is no gain worth a new profile.
LEAST_GAIN = 0.01


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


def marked_spots(ledger: Ledger) -> list[Spot]:
    """Return the words on patches that hold in a ledger as spots, on the photos where they lie now.

    Raises
    ------
    SpotsError
        Nothing was said of any patch, or photos are gone: a line for each.
    """
    words: dict[str, list[SavedRegionWord]] = {}
    for entry in views.region_words(ledger):
        words.setdefault(entry.fact.sha256, []).append(entry.fact)
    spots, refused = [], []
    for sha256, marked in words.items():
        held = standing([one.word for one in marked])
        path = path_of(sha256, ledger) if held else None
        if held and path is None:
            refused.append(f"{marked[-1].photo}: the photo is gone; put it back")
        else:
            spots += [
                Spot(
                    str(path),
                    word.x,
                    word.y,
                    word.w,
                    word.h,
                    word.says,
                    f"{marked[-1].photo}, {word.x},{word.y}",
                )
                for word in held
            ]
    if refused:
        raise SpotsError("\n".join(refused))
    if not spots:
        raise SpotsError(
            "no spots; give a table of them, --spot, or say what a patch is: grader call PHOTO --patch X,Y --is CLASS"
        )
    return spots


def fit_profile(
    spots: Sequence[Spot],
    photos: Mapping[str, MeasuredPhoto],
    profile_name: str | Path,
    *,
    name: str,
) -> FittedProfile:
    """Return the profile with its colour classes moved to the marked spots, and what that changes.

    Whether ranges also draw back from each other's marks, or only grow, is what does better on stones held out in turn:
    on stones whose light differs, borders drawn back by one stone's spots cut into the next one's colours.

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
    marks = [_Mark(spot, _spot_lab(photos[spot.photo], spot)) for spot in spots]
    stones = _stones(marks, photos, base)
    as_it_was = [_regions(stone, base) for stone in stones]
    judgement, inwards = _judged(marks, stones, as_it_was, base)
    fitted = replace(
        fit_classes(_by_class(marks), base, inwards=inwards), name=name, version=base.version + 1
    )
    wrong, shares = [], []
    for stone, before in zip(stones, as_it_was, strict=True):
        after = _regions(stone, fitted)
        named = _named(stone, after)
        wrong += [m.spot for m, share in zip(stone.marks, named, strict=True) if share < 0.5]
        shares.append(FaceShares(stone.photo, stone.piece, _shares(before), _shares(after)))
    on_stone = {id(mark) for stone in stones for mark in stone.marks}
    return FittedProfile(
        profile=fitted,
        text=_with_ranges(text, fitted),
        spots=dict(Counter(spot.name for spot in spots)),
        judgement=judgement,
        wrong=tuple(wrong),
        off_stone=tuple(mark.spot for mark in marks if id(mark) not in on_stone),
        shares=tuple(shares),
    )


def with_regions(piece: MeasuredPiece, profile: Profile) -> MeasuredPiece:
    """Return a stone with its regions as a profile names them; all else as it was measured."""
    regions = find_regions(piece.face, find_glare(piece.face), profile)
    return replace(piece, measurements=replace(piece.measurements, regions=regions))


@dataclass(frozen=True)
class SeenFace:
    """A stone as it lies in the ledger, with its shares by the profile as it was. glare : as of ``find_glare``."""

    photo: str
    piece: int
    face: Face
    glare: NDArray[np.float32]
    before: dict[str, float]


def seen_face(look: Look, piece: int, base: Profile) -> SeenFace:
    """Return a stone of a kept look, from the picture kept of it."""
    face = kept_face(look, piece)
    glare = find_glare(face)
    return SeenFace(look.ask.file, piece, face, glare, _shares(find_regions(face, glare, base)))


def shares_elsewhere(stones: Sequence[SeenFace], fitted: Profile) -> tuple[FaceShares, ...]:
    """Return what a fitted profile changes on stones that hold no spot."""
    return tuple(
        FaceShares(
            one.photo, one.piece, one.before, _shares(find_regions(one.face, one.glare, fitted))
        )
        for one in stones
    )


def save_profile(fitted: FittedProfile, folder: Path) -> Path:
    """Write a fitted profile under its name and return where; what is there already stays.

    Raises
    ------
    SettingsError, GraderError
        The name is that of the settings, or of a file that is there: one line.
    """
    path = folder / f"{fitted.profile.name}.toml"
    if path.name == FILE:
        raise SettingsError(f"{path.name} holds your settings; choose another name")
    write_new(path, fitted.text)
    return path


@dataclass(frozen=True)
class _Mark:
    """A spot and CIELAB of its pixels, (n, 3)."""

    spot: Spot
    lab: NDArray[np.float32]


@dataclass(frozen=True)
class _Stone:
    """A stone that holds spots. ``pixels`` : of each, in the order of ``marks``, bool (h, w); ``codes`` : how they are
    to be named."""

    photo: str
    piece: int
    face: Face
    glare: NDArray[np.float32]
    marks: tuple[_Mark, ...]
    pixels: tuple[NDArray[np.bool_], ...]
    codes: tuple[int, ...]


def _by_class(marks: Sequence[_Mark]) -> dict[str, list[NDArray]]:
    """The colours of the spots of each class; glare has none of its own."""
    marked: dict[str, list[NDArray]] = {}
    for mark in marks:
        if mark.spot.name != GLARE:
            marked.setdefault(mark.spot.name, []).append(mark.lab)
    return marked


def _stones(
    marks: Sequence[_Mark], photos: Mapping[str, MeasuredPhoto], profile: Profile
) -> list[_Stone]:
    codes = {name: code for code, name in enumerate(_names(profile), start=1)} | {GLARE: UNREADABLE}
    stones = []
    for name, photo in photos.items():
        for piece in photo.pieces:
            face = piece.face
            held = [
                (mark, pixels)
                for mark in marks
                if mark.spot.photo == name
                and (pixels := _pixels(mark.spot, face, photo.photo)) is not None
            ]
            if held:
                own, pixels = zip(*held, strict=True)
                named = tuple(codes[mark.spot.name] for mark in own)
                glare = find_glare(face)
                stones.append(_Stone(name, piece.piece.id, face, glare, own, pixels, named))
    return stones


def _regions(stone: _Stone, profile: Profile) -> Regions:
    return find_regions(stone.face, stone.glare, profile)


def _shares(regions: Regions) -> dict[str, float]:
    return {name: share.value for name, share in regions.shares.items()}


def _named(stone: _Stone, regions: Regions) -> list[float]:
    """Share of each spot's px that are named as marked."""
    pairs = zip(stone.pixels, stone.codes, strict=True)
    return [float((regions.codes[pixels] == code).mean()) for pixels, code in pairs]


def _judged(
    marks: Sequence[_Mark], stones: Sequence[_Stone], as_it_was: Sequence[Regions], base: Profile
) -> tuple[Judgement, bool]:
    """What the new ranges gain on stones held out in turn, and whether ranges do better that also draw back.

    Which of the two a stone is judged by is chosen by the other stones, so that none flatters itself.
    """
    held, named = [], []
    for stone, was in zip(stones, as_it_was, strict=True):
        own = {id(mark) for mark in stone.marks}
        others = _by_class([mark for mark in marks if id(mark) not in own])
        if len(others) < 2:
            continue
        growing, both = (fit_classes(others, base, inwards=way) for way in (False, True))
        regions = [was, _regions(stone, growing)]
        # Mostly nothing of one class lies within another.
        regions.append(regions[1] if both == growing else _regions(stone, both))
        held.append(stone)
        named.append(np.array([_named(stone, one) for one in regions]))
    before, after, judged = [], [], []
    for n, stone in enumerate(held):
        inwards = _inwards(named[:n] + named[n + 1 :])
        old, new = named[n][0], named[n][1 + inwards]
        before.append(old)
        after.append(new)
        judged.append(
            HeldOut(stone.photo, stone.piece, len(old), float(old.mean()), float(new.mean()))
        )
    old, new = (np.concatenate(part) if part else np.empty(0) for part in (before, after))
    judgement = Judgement(
        stones=tuple(judged),
        before=float(old.mean()) if len(old) else 0.0,
        after=float(new.mean()) if len(new) else 0.0,
        better=int((new > old + 0.05).sum()),
        worse=int((new < old - 0.05).sum()),
        verdict=_verdict(new - old, len(held)),
    )
    return judgement, _inwards(named)


def _inwards(named: Sequence[NDArray]) -> bool:
    """Whether drawing back too names more than growing alone; of as good ones the range that moves less."""
    if not named:
        return False
    _, growing, both = np.concatenate(named, axis=1).mean(axis=1)
    return bool(both > growing)


def _verdict(gained: NDArray, stones: int) -> str:
    """gained : by spot, share of its px.   A gain is one of more than its own standard error."""
    if len(gained) < ENOUGH_SPOTS or stones < ENOUGH_STONES:
        return "too few"
    error = gained.std(ddof=1) / np.sqrt(len(gained))
    return "gain" if gained.mean() > max(error, LEAST_GAIN) else "no gain"


def _sound_spots(
    spots: Sequence[Spot], photos: Mapping[str, MeasuredPhoto], profile: Profile
) -> list[Spot]:
    """The spots with their classes as the profile spells them; ``SpotsError`` where some cannot be used."""
    names = {name.casefold(): name for name in (*_names(profile), GLARE)}
    refused = [_unknown(spot, profile) for spot in spots if spot.name.casefold() not in names]
    if refused:
        raise SpotsError("\n".join(refused))
    spots = [replace(spot, name=names[spot.name.casefold()]) for spot in spots]
    spots = [at_cell(s, photos[s.photo].photo.width, photos[s.photo].photo.height) for s in spots]
    refused = [off for spot in spots if (off := _off(spot, photos[spot.photo].photo))]
    if refused:
        raise SpotsError("\n".join(refused))
    if len({spot.name for spot in spots} - {GLARE}) < 2:
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
    names = [*_names(profile), GLARE]
    return f"{spot.where}: no class {quoted(spot.name)}{nearest(spot.name, names)}; one of {', '.join(names)}"


def _box(spot: Spot, photo: Photo) -> tuple[float, float, float, float]:
    """x0, y0, x1, y1 of a spot in px of its photo; a point stands for a small square."""
    if spot.w is not None:
        return spot.x, spot.y, spot.x + spot.w, spot.y + spot.h
    half = max(2.0, POINT_SHARE * max(photo.width, photo.height) / 2)
    return spot.x - half, spot.y - half, spot.x + half, spot.y + half


def _spot_lab(measured: MeasuredPhoto, spot: Spot) -> NDArray[np.float32]:
    """CIELAB of the spot's pixels, (n, 3), ``SPOT_PX`` at most; by the light of the photo, as faces are."""
    photo = measured.photo
    x0, y0, x1, y1 = _box(spot, photo)
    rows = slice(max(0, int(y0)), max(int(y0) + 1, int(np.ceil(y1))))
    columns = slice(max(0, int(x0)), max(int(x0) + 1, int(np.ceil(x1))))
    linear = linear_srgb(np.ascontiguousarray(photo.rgb[rows, columns]), photo.encoding)
    x_px, y_px = (
        np.arange(s.start, s.start + n) + 0.5
        for s, n in ((columns, linear.shape[1]), (rows, linear.shape[0]))
    )
    lab = lab_from_linear(measured.reference.corrected(linear, x_px, y_px)).reshape(-1, 3)
    return lab[:: 1 + (len(lab) - 1) // SPOT_PX]


def _pixels(spot: Spot, face: Face, photo: Photo) -> NDArray[np.bool_] | None:
    """The spot's px in the face, (h, w); ``None`` where its middle lies off the stone."""
    x0, y0, x1, y1 = _box(spot, photo)
    corners = np.array([(x0, y0), ((x0 + x1) / 2, (y0 + y1) / 2), (x1, y1)])
    (left, top), middle, (right, low) = face.from_photo_px(corners)
    column, row = np.floor(middle).astype(int)
    h, w = face.mask.shape
    if not (0 <= row < h and 0 <= column < w and face.mask[row, column]):
        return None
    pixels = np.zeros(face.mask.shape, bool)
    rows = slice(max(0, int(top)), max(row + 1, int(np.ceil(low))))
    columns = slice(max(0, int(left)), max(column + 1, int(np.ceil(right))))
    pixels[rows, columns] = True
    return pixels & face.mask


def _with_ranges(text: str, profile: Profile) -> str:
    """The base profile's text, comments and all, with the new name and ranges."""
    document = tomlkit.parse(text)
    document["name"], document["version"] = profile.name, profile.version
    for table, colour in zip(document["colours"], profile.colours, strict=True):
        for key in ("lightness", "chroma", "hue_deg"):
            table[key] = list(getattr(colour, key))
    return tomlkit.dumps(document)
