"""From stored examples to what the networks read, on the device that trains; each time in another light.

White balance, exposure, contrast, blur and noise are drawn anew whenever an example comes up, and for regions some
hues are turned together with the profile, so that whose hue is whose is learned from the profile.
"""

from dataclasses import dataclass

import numpy as np
import torch
from torch.nn import functional

from grader.face.regions.regions import ROLES, SOFT_C, SOFT_H_DEG, SOFT_L
from grader.photo.colour import WHITE_XYZ, XYZ_FROM_LINEAR_SRGB, srgb_curve
from grader.profile import ColourClass, Profile
from grader.train.examples import IGNORE

#: Standard deviations of the logarithm of each channel's gain, of all together, and of the contrast: more than a
#: phone gets wrong.
GAIN, EXPOSURE, CONTRAST = 0.08, 0.15, 0.1
#: Noise of the light at white, at most, and the size of its blotches in px: a phone smears what it cannot see.
NOISE, BLOTCHES_PX = 0.03, (1, 1, 1, 2)
#: How often lens or hand blur a picture, and by how much at most: sigma in px; how far the blur reaches.
BLURRED, BLUR_PX, BLUR_REACH_PX = 1 / 3, 1.5, 4
#: Share of regions examples with turned hues.
TURNED = 0.2


@dataclass(frozen=True)
class Variety:
    """How much the light of a batch may differ; ``FULL`` is usual, ``PLAIN`` leaves the examples as they are.

    vivid : standard deviation of the logarithm of chroma's gain: shops turn colours up.
    """

    strength: float = 1.0
    turned: float = TURNED
    vivid: float = 0.0


FULL, PLAIN = Variety(), Variety(0.0, 0.0)


def network_input(
    part: str, examples: torch.Tensor, profile: Profile, variety: Variety, dice: np.random.Generator
) -> torch.Tensor:
    """Return what the network of a part reads, shape (n, channels, side, side), float32.

    Parameters
    ----------
    examples : (n, side, side, 4), uint8: sRGB picture and target; on any device.
    """
    lab = lab_of(lit(examples[..., :3], variety, dice))
    if variety.vivid:
        gain = np.exp(dice.normal(0, variety.vivid, (len(lab), 1, 1, 1)))
        lab[:, 1:] *= torch.tensor(gain, dtype=torch.float32, device=lab.device)
    counts = (examples[..., 3] != IGNORE).unsqueeze(1)
    layers = [_scaled(lab)]
    if part != "pieces":
        layers.append(counts.float())
    if part == "regions":
        turns = dice.uniform(0, 360, len(lab)) * (dice.random(len(lab)) < variety.turned)
        turn = torch.tensor(turns, dtype=torch.float32, device=lab.device)
        layers[0] = _scaled(turned_hues(lab, turn))
        # Fits are read before the hues are turned: that is the fit to the profile turned alike.
        layers += [
            _best_fit(lab, [c for c in profile.colours if c.reads_as == role]) for role in ROLES
        ]
    return torch.cat(layers, 1) * counts


def lit(pictures: torch.Tensor, variety: Variety, dice: np.random.Generator) -> torch.Tensor:
    """Return linear light, (n, 3, side, side), of sRGB pictures, (n, side, side, 3) uint8, each lit anew."""
    curve = torch.from_numpy(srgb_curve()).to(pictures.device)
    light = curve[pictures.long()].permute(0, 3, 1, 2)
    n, s = len(light), variety.strength
    if not s:
        return light
    gains = np.exp(dice.normal(0, GAIN * s, (n, 3)) + dice.normal(0, EXPOSURE * s, (n, 1)))
    gamma = np.exp(dice.normal(0, CONTRAST * s, (n, 1, 1, 1)))
    noise = dice.uniform(0, NOISE * s, (n, 1, 1, 1)) * (dice.random((n, 1, 1, 1)) < 0.4)
    gains, gamma, noise = (
        torch.tensor(v, dtype=torch.float32, device=light.device) for v in (gains, gamma, noise)
    )
    light = (light * gains[..., None, None]).clamp(0, 1) ** gamma
    sigma = dice.uniform(0, BLUR_PX * s, n) * (dice.random(n) < BLURRED)
    light = blurred(light, torch.tensor(sigma, dtype=torch.float32, device=light.device))
    return (light + _blotches(light, dice) * noise * (light + 0.01).sqrt()).clamp(0, 1)


def blurred(light: torch.Tensor, sigma_px: torch.Tensor) -> torch.Tensor:
    """Return pictures, (n, 3, h, w), each blurred by a Gaussian of its own sigma, (n,); 0 leaves one as it is."""
    n, channels, h, w = light.shape
    reach = torch.arange(-BLUR_REACH_PX, BLUR_REACH_PX + 1, device=light.device)
    kernel = torch.exp(-0.5 * (reach / sigma_px.clamp_min(1e-3)[:, None]) ** 2)
    kernel = (kernel / kernel.sum(1, keepdim=True)).repeat_interleave(channels, 0)
    flat = light.reshape(1, n * channels, h, w)
    for shape, pad in (
        ((1, -1), (BLUR_REACH_PX, BLUR_REACH_PX, 0, 0)),
        ((-1, 1), (0, 0, BLUR_REACH_PX, BLUR_REACH_PX)),
    ):
        weights = kernel.reshape(n * channels, 1, *shape)
        flat = functional.conv2d(functional.pad(flat, pad, "reflect"), weights, groups=n * channels)
    return flat.reshape(light.shape)


def _blotches(light: torch.Tensor, dice: np.random.Generator) -> torch.Tensor:
    """Noise of that shape, spread 1, in blotches of one of the sizes."""
    n, channels, h, w = light.shape
    size = int(dice.choice(BLOTCHES_PX))
    coarse = torch.randn((n, channels, -(-h // size), -(-w // size)), device=light.device)
    if size == 1:
        return coarse
    fine = functional.interpolate(coarse, size=(h, w), mode="bilinear", align_corners=False)
    return fine / fine.std().clamp_min(1e-6)


def lab_of(light: torch.Tensor) -> torch.Tensor:
    """Return CIELAB of linear sRGB, both (n, 3, h, w); as ``grader.photo.colour.lab_from_linear``."""
    matrix = torch.from_numpy(XYZ_FROM_LINEAR_SRGB / WHITE_XYZ[:, None]).to(light.device)
    xyz = torch.einsum("ij,njhw->nihw", matrix, light)
    low = xyz * ((29 / 6) ** 2 / 3) + 4 / 29
    f = torch.where(xyz > (6 / 29) ** 3, xyz.clamp_min((6 / 29) ** 3) ** (1 / 3), low)
    x, y, z = f.unbind(1)
    return torch.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], 1)


def turned_hues(lab: torch.Tensor, turn_deg: torch.Tensor) -> torch.Tensor:
    """Return the pictures, (n, 3, h, w), with all hues turned by the angle of each, (n,)."""
    c, s = (f(torch.deg2rad(turn_deg))[:, None, None] for f in (torch.cos, torch.sin))
    light, a, b = lab.unbind(1)
    return torch.stack([light, c * a - s * b, s * a + c * b], 1)


def _scaled(lab: torch.Tensor) -> torch.Tensor:
    middle = torch.tensor([50.0, 0, 0], device=lab.device)[:, None, None]
    reach = torch.tensor([50.0, 40, 40], device=lab.device)[:, None, None]
    return (lab - middle) / reach


def _best_fit(lab: torch.Tensor, colours: list[ColourClass]) -> torch.Tensor:
    """How well each pixel fits the best of these classes, (n, 1, h, w); as ``grader.face.regions.regions`` has it."""
    fits = [_fit(lab, colour) for colour in colours]
    return (torch.stack(fits).amax(0) if fits else torch.zeros_like(lab[:, 0])).unsqueeze(1)


def _fit(lab: torch.Tensor, colour: ColourClass) -> torch.Tensor:
    light, a, b = lab.unbind(1)
    chroma = torch.hypot(a, b)
    fit = _within(light, colour.lightness, SOFT_L) * _within(chroma, colour.chroma, SOFT_C)
    low, high = colour.hue_deg
    if high - low < 360:
        hue = torch.rad2deg(torch.atan2(b, a))
        turn = ((hue - (low + high) / 2 + 180) % 360 - 180).abs()
        fit = fit * _within(turn, (0, (high - low) / 2), SOFT_H_DEG + 40 / (1 + chroma))
    return fit


def _within(values: torch.Tensor, limits: tuple[float, float], soft) -> torch.Tensor:
    over = torch.maximum(limits[0] - values, values - limits[1]).clamp_min(0) / soft
    return torch.exp(-(over**2))
