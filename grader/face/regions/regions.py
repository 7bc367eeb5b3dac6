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

from grader.face.face import Face
from grader.face.measurements import RegionColour, Regions, Share
from grader.face.regions.intervals import half_width
from grader.face.regions.patch_words import PatchWord, with_patch_words
from grader.measures import UNREADABLE
from grader.photo.colour import chroma_hue, scaled_lab
from grader.photo.net import run_net, softmax
from grader.profile import ColourClass, Profile

#: Longer side of what the network looks at, in px.
LOOK_PX = 384
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
    colour = {
        c.name: _region_colour(face.lab[codes == k]) for k, c in enumerate(profile.colours, start=1)
    }
    glare_share = float((codes == UNREADABLE).sum() / max(1, face.mask.sum()))
    shares = _shares(codes, chances, profile)
    shares = {
        name: _with_interval(share, glare_share, face.light_sd) for name, share in shares.items()
    }
    return Regions(codes, shares, _kinds(face, codes, profile), colour, glare_share)


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
    picture = np.empty((*lab.shape[:2], 7), np.float32)
    picture[..., :3] = scaled_lab(lab)
    picture[..., 3] = 1
    for channel, role in enumerate(ROLES, start=4):
        fits = [fit_to_class(lab, colour) for colour in profile.colours if colour.reads_as == role]
        picture[..., channel] = np.max(fits, axis=0) if fits else 0
    picture[~mask] = 0
    return picture


def fit_to_class(lab: NDArray, colour: ColourClass) -> NDArray[np.float32]:
    """Return how well each colour of ``lab`` (..., 3) fits a class, 0 to 1, shape (...)."""
    chroma, hue = chroma_hue(lab)
    fit = _within(lab[..., 0], colour.lightness, SOFT_L) * _within(chroma, colour.chroma, SOFT_C)
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
    """Chance of each class in the profile's order, then of unreadable; shape (h, w, classes + 1)."""
    h, w = face.mask.shape
    factor = LOOK_PX / max(h, w)
    size = (max(8, round(w * factor)), max(8, round(h * factor)))
    method = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    cover = cv2.resize(face.mask.astype(np.float32), size, interpolation=method)
    # The mean over the stone's own pixels: the ground beside it takes no part.
    lab = cv2.resize(face.lab * face.mask[..., None], size, interpolation=method)
    lab /= np.maximum(cover, 0.5)[..., None]
    scores = run_net("regions", regions_input(lab, cover > 0.5, profile))
    # In training a pixel of glare counted twice.
    scores[..., len(ROLES)] -= np.log(GLARE_WEIGHT)
    fine = cv2.resize(softmax(scores), (w, h), interpolation=cv2.INTER_LINEAR)
    hidden = _hidden(glare, fine[..., len(ROLES)])
    # A pixel that is glare for sure has no role left to share out.
    roles = fine[..., : len(ROLES)] + np.float32(1e-7)
    roles *= ((1 - hidden) / roles.sum(axis=-1))[..., None]
    return _by_class(np.dstack([roles, hidden]), face.lab, profile)


def _hidden(glare: NDArray[np.float32], whole: NDArray[np.float32]) -> NDArray[np.float32]:
    """Chance of each px to be unreadable, (h, w), of what the glare network and the regions network say of it.

    One knows more lamps, the other more stones: each has half the say. Of a patch that the first sees and that is
    unreadable for the most part, all counts as the first sees it: one lamp's mirror ends at no speck of the stone.
    """
    hidden = (glare + whole) / 2
    count, patch = cv2.connectedComponents((glare > 0.5).astype(np.uint8), connectivity=4)
    size, sure = (
        np.bincount(patch.ravel(), counts, count) for counts in (None, (hidden > 0.5).ravel())
    )
    kept = sure > size / 2
    kept[0] = False
    return np.where(kept[patch], np.maximum(hidden, glare), hidden)


def _by_class(by_role: NDArray, lab: NDArray, profile: Profile) -> NDArray[np.float32]:
    """Chances of the roles and of unreadable, handed on to the classes: within a role by how well each fits.

    A class without a role shares with the shore, where it fits better than not. A role that no class of the
    profile has goes to the class that is none of the others.
    """
    chances = np.zeros((*by_role.shape[:2], len(profile.colours) + 1), np.float32)
    chances[..., -1] = by_role[..., len(ROLES)]
    for place, role in enumerate(ROLES):
        takers = [k for k, c in enumerate(profile.colours) if c.reads_as == role]
        takers = takers or [profile.rest]
        if role == "shore":
            takers = takers + [k for k, c in enumerate(profile.colours) if c.reads_as == "none"]
        if len(takers) == 1:
            chances[..., takers[0]] += by_role[..., place]
            continue
        fits = np.stack(
            [fit_to_class(lab, profile.colours[k]) + np.float32(1e-3) for k in takers], -1
        )
        if profile.rest in takers:
            # It is what is none of the others, so it counts as a fit of one half.
            fits[..., takers.index(profile.rest)] = 0.5
        fits /= fits.sum(axis=-1, keepdims=True)
        for k, fit in zip(takers, np.moveaxis(fits, -1, 0), strict=True):
            chances[..., k] += by_role[..., place] * fit
    return chances


def _name(face: Face, chances: NDArray) -> NDArray[np.uint8]:
    """Class code of each pixel; 0 outside the face."""
    codes = (chances[..., :-1].argmax(axis=-1) + 1).astype(np.uint8)
    codes[chances[..., -1] > 0.5] = UNREADABLE
    codes[~face.mask] = 0
    return codes


def _shares(codes: NDArray, chances: NDArray, profile: Profile) -> dict[str, Share]:
    """Share of each class of the readable face and its doubt, still without an interval; all or nothing unread."""
    readable = (codes > 0) & (codes != UNREADABLE)
    count = int(readable.sum())
    if count == 0:
        return {c.name: Share(1 / len(profile.colours), 0.0, 1.0) for c in profile.colours}
    by_class = chances[..., :-1][readable]
    by_class = by_class / by_class.sum(axis=-1, keepdims=True).clip(1e-6)
    shares = {}
    for code, colour in enumerate(profile.colours, start=1):
        named = codes[readable] == code
        value = float(named.sum() / count)
        shares[colour.name] = Share(value, value, value, doubt(named, by_class[:, code - 1]))
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
    middle = np.median(lab, axis=0)
    chroma, hue = chroma_hue(middle)
    return RegionColour(
        float(middle[0]),
        float(chroma),
        float(hue),
        float(np.median(np.linalg.norm(lab - middle, axis=1))),
    )


def _kinds(face: Face, codes: NDArray, profile: Profile) -> dict[str, dict[str, float]]:
    """Share of each kind within the classes that have kinds, of the readable face."""
    readable = max(1, int(((codes > 0) & (codes != UNREADABLE)).sum()))
    kinds = {}
    for code, colour in enumerate(profile.colours, start=1):
        if colour.kinds:
            chroma, _ = chroma_hue(face.lab[codes == code])
            coloured = int((chroma >= colour.kind_chroma).sum())
            kinds[colour.name] = {
                colour.kinds[0]: coloured / readable,
                colour.kinds[1]: (len(chroma) - coloured) / readable,
            }
    return kinds
