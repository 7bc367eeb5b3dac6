"""Colour regions of a face, and what of it cannot be read for glare.

The network reads the picture beside what the profile expects: for each role (water, sky, shore) how well a pixel's
colour fits the profile's class. What is blue and what is white is told by their neighbours in the same stone, so a
tinted white beside a deeper blue stays white; whose colour belongs to which class is told by the profile.
"""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.face import LOOK_PX, Face
from grader.face.measurements import RegionColour, Regions, Share
from grader.face.regions.intervals import half_width
from grader.face.regions.patch_words import PatchWord, with_patch_words
from grader.measures import UNREADABLE
from grader.photo.colour import chroma_hue, scaled_lab
from grader.photo.net import run_net, softmax
from grader.profile import ColourClass, Profile

#: The network's outputs, in their order, before the one for glare.
ROLES = ("water", "sky", "shore")
#: How much a pixel of glare counts in training: a missed highlight is read as white band.
GLARE_WEIGHT = 2.0
# How softly a class's borders are taken: L*, C*ab and hue degrees over which a fit falls by about two thirds.
SOFT_L, SOFT_C, SOFT_H_DEG = 6.0, 3.0, 12.0


def find_regions(
    face: Face, glare: NDArray, profile: Profile, patches: Sequence[PatchWord] = ()
) -> Regions:
    """Return the colour regions of a face.

    Parameters
    ----------
    face : of any working size.
    glare : ndarray of shape (h, w), chance of each pixel to lie under glare, as ``find_glare`` says it.
    profile : names the classes and where their colours are looked for.
    patches : what the seller says of patches of this face, in the order of saying.

    Raises
    ------
    ModelError
        The network's weights are missing or damaged.
    """
    chances = with_patch_words(_chances(face, glare, profile), patches, face, profile)
    return regions_from_chances(face, chances, profile)


def regions_from_chances(face: Face, chances: NDArray, profile: Profile) -> Regions:
    """Return the regions that chances, (h, w, classes + 1), of the profile's classes and of unreadable make."""
    codes = _name(face, chances)
    flat = face.lab.reshape(-1, 3)
    labs = {
        c.name: flat.take(np.flatnonzero(codes == k), axis=0)
        for k, c in enumerate(profile.colours, start=1)
    }
    colour = {name: _region_colour(lab) for name, lab in labs.items()}
    glare_share = float((codes == UNREADABLE).sum() / max(1, face.mask.sum()))
    shares = _shares(codes, chances, profile)
    shares = {
        name: _with_interval(share, glare_share, face.light_sd) for name, share in shares.items()
    }
    return Regions(codes, shares, _kinds(labs, codes, profile), colour, glare_share)


def reading_lab(regions: Regions, profile: Profile, reading: str) -> NDArray[np.float64] | None:
    """Return the usual CIELAB colour, (3,), of the class that stands for sky, water or shore.

    Of several it is the one with most of the face; ``None`` where the face has none.
    """
    colours = {
        code: regions.colour.get(profile.colours[code - 1].name) for code in profile.codes(reading)
    }
    present = [code for code, colour in colours.items() if colour is not None]
    if not present:
        return None
    if len(present) == 1:
        return colours[present[0]].lab
    return colours[max(present, key=lambda code: np.count_nonzero(regions.codes == code))].lab


def regions_input(lab: NDArray, mask: NDArray, profile: Profile) -> NDArray[np.float32]:
    """Return what the network reads, shape (h, w, 7): CIELAB near -1 to 1, the mask, and the fit to each role.

    What lies outside the mask is set to zero, so that a stone's neighbours and ground can not change its shares.
    """
    planes = np.zeros((7, *lab.shape[:2]), np.float32)
    np.copyto(planes[:3], scaled_lab(lab).transpose(2, 0, 1), where=mask)
    planes[3] = mask
    chroma, hue = chroma_hue(lab)
    for plane, role in zip(planes[4:], ROLES, strict=True):
        fits = [
            _fit(lab[..., 0], chroma, hue, colour)
            for colour in profile.colours
            if colour.reads_as == role
        ]
        if fits:
            np.copyto(plane, np.max(fits, axis=0), where=mask)
    return planes.transpose(1, 2, 0)


def fit_to_class(lab: NDArray, colour: ColourClass) -> NDArray[np.float32]:
    """Return how well each colour of ``lab`` (..., 3) fits a class, 0 to 1, shape (...)."""
    return _fit(lab[..., 0], *chroma_hue(lab), colour)


def _fit(
    lightness: NDArray, chroma: NDArray, hue: NDArray, colour: ColourClass
) -> NDArray[np.float32]:
    fit = _within(lightness, colour.lightness, SOFT_L) * _within(chroma, colour.chroma, SOFT_C)
    low, high = colour.hue_deg
    if high - low < 360:
        middle, half = (low + high) / 2, (high - low) / 2
        turned = np.abs((hue - middle + 180) % 360 - 180)
        # Hue says little where there is hardly any chroma.
        fit = fit * _within(turned, (0, half), SOFT_H_DEG + 40 / (1 + chroma))
    return fit.astype(np.float32)


def _within(values: NDArray, limits: tuple[float, float], soft) -> NDArray:
    over = np.maximum(np.maximum(limits[0] - values, values - limits[1]), 0) / soft
    return np.exp(-(over**2))


def _chances(face: Face, glare: NDArray, profile: Profile) -> NDArray[np.float32]:
    """Chance of each class in the profile's order, then of unreadable; shape (h, w, classes + 1).

    Class by class in memory: what is done to one of them does not step over the others.
    """
    h, w = face.mask.shape
    lab, cover = face.small if max(h, w) > LOOK_PX else face.enlarged
    scores = run_net("regions", regions_input(lab, cover > 0.5, profile))
    # In training a pixel of glare counted twice.
    scores[..., len(ROLES)] -= np.log(GLARE_WEIGHT)
    fine = cv2.resize(softmax(scores), (w, h), interpolation=cv2.INTER_LINEAR)
    *roles, whole = cv2.split(fine)
    hidden = _hidden(glare, whole)
    # A pixel that is glare for sure has no role left to share out.
    for role in roles:
        role += np.float32(1e-7)
    left = (1 - hidden) / sum(roles[1:], roles[0])
    for role in roles:
        role *= left
    return _by_class(roles, hidden, face.lab, profile)


def _hidden(glare: NDArray[np.float32], whole: NDArray[np.float32]) -> NDArray[np.float32]:
    """Chance of each px to be unreadable, (h, w), of what the glare network and the regions network say of it.

    One knows more lamps, the other more stones: each has half the say. Of a patch that the first sees and that is
    unreadable for the most part, all counts as the first sees it: one lamp's mirror ends at no speck of the stone.
    """
    hidden = (glare + whole) / 2
    count, patch = cv2.connectedComponents((glare > 0.5).view(np.uint8), connectivity=4)
    if count == 1:
        return hidden
    size, sure = (
        np.bincount(patch.ravel(), counts, count) for counts in (None, (hidden > 0.5).ravel())
    )
    kept = sure > size / 2
    kept[0] = False
    return np.where(kept[patch], np.maximum(hidden, glare), hidden)


def _by_class(
    by_role: Sequence[NDArray], hidden: NDArray, lab: NDArray, profile: Profile
) -> NDArray[np.float32]:
    """Chances of the roles and of unreadable, handed on to the classes: within a role by how well each fits.

    A class without a role shares with the shore, where it fits better than not. A role that no class of the
    profile has goes to the class that is none of the others.
    """
    chances = np.zeros((len(profile.colours) + 1, *hidden.shape), np.float32)
    chances[-1] = hidden
    for chance, role in zip(by_role, ROLES, strict=True):
        takers = [k for k, c in enumerate(profile.colours) if c.reads_as == role]
        takers = takers or [profile.rest]
        if role == "shore":
            takers = takers + [k for k, c in enumerate(profile.colours) if c.reads_as == "none"]
        if len(takers) == 1:
            chances[takers[0]] += chance
            continue
        fits = np.stack(
            [fit_to_class(lab, profile.colours[k]) + np.float32(1e-3) for k in takers], -1
        )
        if profile.rest in takers:
            # It is what is none of the others, so it counts as a fit of one half.
            fits[..., takers.index(profile.rest)] = 0.5
        fits /= fits.sum(axis=-1, keepdims=True)
        for k, fit in zip(takers, np.moveaxis(fits, -1, 0), strict=True):
            chances[k] += chance * fit
    return chances.transpose(1, 2, 0)


def _name(face: Face, chances: NDArray) -> NDArray[np.uint8]:
    """Class code of each pixel; 0 outside the face."""
    first, *others = np.moveaxis(chances[..., :-1], -1, 0)
    codes, likeliest = np.ones(face.mask.shape, np.uint8), first.copy()
    for code, chance in enumerate(others, start=2):
        codes[chance > likeliest] = code
        np.maximum(likeliest, chance, out=likeliest)
    codes[chances[..., -1] > 0.5] = UNREADABLE
    codes[~face.mask] = 0
    return codes


def _shares(codes: NDArray, chances: NDArray, profile: Profile) -> dict[str, Share]:
    """Share of each class of the readable face and its doubt, still without an interval; all or nothing unread."""
    readable = np.flatnonzero((codes > 0) & (codes != UNREADABLE))
    count = len(readable)
    if count == 0:
        return {c.name: Share(1 / len(profile.colours), 0.0, 1.0) for c in profile.colours}
    by_class = [chance.ravel()[readable] for chance in np.moveaxis(chances[..., :-1], -1, 0)]
    whole = sum(by_class[1:], by_class[0]).clip(1e-6)
    code_of = codes.ravel()[readable]
    shares = {}
    for code, (colour, chance) in enumerate(zip(profile.colours, by_class, strict=True), start=1):
        named = code_of == code
        value = float(named.sum() / count)
        shares[colour.name] = Share(value, value, value, doubt(named, chance / whole))
    return shares


def _with_interval(share: Share, hidden: float, light_sd: float) -> Share:
    """The share with its 95 % interval for the whole face: what lies under glare may be all of this class, or none."""
    reach = half_width(share.doubt, light_sd)
    low = max(0.0, share.value - reach) * (1 - hidden)
    high = min(1.0, share.value + reach) * (1 - hidden) + hidden
    return replace(share, low=min(low, share.value), high=max(high, share.value))


def doubt(named: NDArray[np.bool_], chance: NDArray) -> float:
    """Return the mean chance, 0 to 1, that a pixel's yes or no to a class is wrong.

    It is a mean over the face, so it does not shrink when a photo is only made larger.
    """
    return float(np.abs(named - chance).mean())


def _region_colour(lab: NDArray) -> RegionColour | None:
    """Median colour of a region and its spread."""
    if not len(lab):
        return None
    planes = np.ascontiguousarray(lab.T)
    middle = np.array([np.median(plane) for plane in planes])
    chroma, hue = chroma_hue(middle)
    planes -= middle[:, None]
    planes *= planes
    off = np.sqrt(planes[0] + planes[1] + planes[2])
    return RegionColour(float(middle[0]), float(chroma), float(hue), float(np.median(off)))


def _kinds(
    labs: dict[str, NDArray], codes: NDArray, profile: Profile
) -> dict[str, dict[str, float]]:
    """Share of each kind within the classes that have kinds, of the readable face.

    labs : by class, CIELAB of its px, (n, 3).
    """
    readable = max(1, int(((codes > 0) & (codes != UNREADABLE)).sum()))
    kinds = {}
    for colour in profile.colours:
        if colour.kinds:
            chroma = np.hypot(*labs[colour.name].T[1:])
            coloured = int((chroma >= colour.kind_chroma).sum())
            kinds[colour.name] = {
                colour.kinds[0]: coloured / readable,
                colour.kinds[1]: (len(chroma) - coloured) / readable,
            }
    return kinds
