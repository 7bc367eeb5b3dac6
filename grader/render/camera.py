"""From a lit table to the file of a phone: scene, light, lens, sensor, the phone's own processing, JPEG."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.noise import normals


@dataclass(frozen=True)
class Camera:
    """How a photo is taken and processed. blur_px : sigma of the lens.   gains : left-over white balance error.

    exposure : factor on linear light.   noise : read noise and shot noise, linear.   denoise,
    sharpen, contrast,
    colour, halo : strengths.   quality : of the JPEG.   subsample : chroma at half size.
    vignette : loss in corners.
    """

    name: str
    blur_px: float
    exposure: float
    gains: NDArray[np.float64]
    noise: tuple[float, float]
    denoise: float
    sharpen: float
    sharpen_px: float
    contrast: float
    colour: float
    halo: float
    vignette: float
    quality: int
    subsample: bool


#: Per pipeline: ranges of noise, denoise, sharpen, contrast, colour, JPEG quality; share with
#: chroma at half size.
_PIPELINES = {
    "plain": ((0.001, 0.006), (0, 0.2), (0, 0.3), (0, 0.25), (0.95, 1.08), (88, 97), 0.4),
    "phone": ((0.003, 0.014), (0.4, 1.0), (0.4, 1.2), (0.1, 0.5), (1.0, 1.25), (82, 95), 0.9),
    "compact": ((0.004, 0.02), (0.1, 0.6), (0.2, 0.9), (0.1, 0.4), (0.95, 1.2), (70, 92), 0.9),
    "web": ((0.001, 0.008), (0.1, 0.7), (0.2, 1.0), (0.1, 0.6), (0.95, 1.22), (38, 78), 0.95),
    "scan-like": ((0.0005, 0.003), (0, 0.1), (0.2, 0.8), (-0.1, 0.2), (0.85, 1.1), (90, 98), 0.1),
    "night": ((0.02, 0.05), (1.2, 2.0), (0.8, 1.6), (0.2, 0.5), (1.1, 1.35), (80, 94), 1.0),
}


def draw_camera(rng: np.random.Generator, name: str, unit: float, blur_px: float | None) -> Camera:
    """Return a camera of that pipeline. unit : px of this photo per px of a 1200 px wide one."""
    noise, denoise, sharpen, contrast, colour, quality, half = _PIPELINES[name]
    level = rng.uniform(*noise)
    sigma = rng.choice(
        [rng.uniform(0.4, 0.8), rng.uniform(0.8, 1.6), rng.uniform(1.6, 3.0)], p=[0.62, 0.3, 0.08]
    )
    return Camera(
        name=name,
        blur_px=float(sigma * max(1.0, unit**0.5)) if blur_px is None else blur_px,
        exposure=float(np.exp(rng.normal(0.12 if name == "web" else 0.0, 0.17))),
        gains=np.exp(rng.normal(0, 0.035, 3)),
        noise=(level * 0.25, level),
        denoise=rng.uniform(*denoise),
        sharpen=rng.uniform(*sharpen),
        sharpen_px=rng.uniform(0.7, 1.8) * max(1.0, unit**0.5),
        contrast=rng.uniform(*contrast),
        colour=rng.uniform(*colour),
        halo=rng.uniform(0.15, 0.4) if name == "night" else 0.0,
        vignette=rng.choice([0.0, rng.uniform(0.05, 0.4)]),
        quality=int(rng.integers(quality[0], quality[1] + 1)),
        subsample=bool(rng.random() < half),
    )


def balance(light: NDArray[np.float64], adapted: float) -> NDArray[np.float64]:
    """Return the gains of a camera that takes out a share ``adapted`` of the light's colour (linear rgb)."""
    gains = (light.mean() / light) ** adapted
    return gains / gains[1]


def expose(
    rng: np.random.Generator, camera: Camera, linear: NDArray[np.float32]
) -> NDArray[np.uint8]:
    """Return the file's picture (h, w, 3) of linear light (h, w, 3) that is exposed and balanced: 1 is white."""
    h, w = linear.shape[:2]
    linear = _lens(camera, linear)
    if camera.vignette:
        y, x = (
            np.linspace(-1, 1, h, dtype=np.float32)[:, None],
            np.linspace(-1, 1, w, dtype=np.float32)[None],
        )
        linear = linear * (1 - np.float32(camera.vignette / 2) * (x * x + y * y))[..., None]
    linear = _sensor(rng, camera, np.clip(linear, 0, 1.0))
    if camera.halo:
        linear = _local_tones(camera, linear)
    return _file(camera, _tone(camera, linear))


def filed_white(camera: Camera, white: NDArray) -> NDArray[np.float64]:
    """Return the colour, (3,) linear sRGB with green at 1, that a grey surface has in the file under that light.

    white : (3,), linear light of a white sheet, exposed and balanced, before the camera's own tones and colours.
    """
    grey = np.float32(white / white.max() * 0.35).reshape(1, 1, 3)
    codes = _tone(replace(camera, sharpen=0.0), grey)[0, 0] / 255
    linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    return linear / linear[1]


def seen_by(camera: Camera, light: NDArray) -> NDArray[np.float32]:
    """Return light (h, w) or (h, w, 3) as the lens draws it: blurred."""
    return cv2.GaussianBlur(light, (0, 0), camera.blur_px) if camera.blur_px > 0.25 else light


def _lens(camera: Camera, linear: NDArray) -> NDArray[np.float32]:
    """Blur, and let very bright spots spill a little."""
    blurred = seen_by(camera, linear)
    spill = cv2.resize(
        np.minimum(linear, 12), None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA
    )
    spill = cv2.GaussianBlur(spill, (0, 0), max(1.0, linear.shape[1] / 600))
    spill = cv2.resize(spill, (linear.shape[1], linear.shape[0]), interpolation=cv2.INTER_LINEAR)
    return blurred * np.float32(0.985) + spill * np.float32(0.015)


def _sensor(rng: np.random.Generator, camera: Camera, linear: NDArray) -> NDArray[np.float32]:
    """Add read and shot noise, then smooth it away as phones do: colour more than lightness."""
    read, shot = camera.noise
    h, w = linear.shape[:2]
    # One pool of noise, read from another place for each channel: as good as three, in a third of
    # the time.
    pool = normals(rng, (1, h * w + 4000))[0]
    noise = cv2.merge([pool[at : at + h * w].reshape(h, w) for at in rng.integers(0, 4000, 3)])
    linear = linear + noise * np.sqrt(np.float32(read**2) + np.float32(shot**2) * linear)
    if camera.denoise < 0.05:
        return linear
    coded = np.sqrt(np.clip(linear, 0, 1))
    luma = cv2.transform(coded, np.float32([[0.25, 0.6, 0.15]]))
    colour = cv2.GaussianBlur(coded - luma[..., None], (0, 0), 0.6 + 2.2 * camera.denoise)
    smooth = cv2.bilateralFilter(luma, 5, 0.02 + 0.05 * camera.denoise, 1.0 + camera.denoise)
    luma += (smooth - luma) * np.float32(min(1.0, camera.denoise))
    return np.square(np.maximum(colour + luma[..., None], 0))


def _local_tones(camera: Camera, linear: NDArray) -> NDArray[np.float32]:
    """Lift shade and hold highlights by the light of the neighbourhood, as night modes do."""
    luma = cv2.transform(linear, np.float32([[1, 1, 1]]) / 3)
    small = cv2.resize(luma, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    around = cv2.GaussianBlur(small, (0, 0), max(2.0, luma.shape[1] / 250))
    around = cv2.resize(around, (luma.shape[1], luma.shape[0]), interpolation=cv2.INTER_LINEAR)
    return linear * ((0.3 / (around + 0.06)) ** np.float32(camera.halo))[..., None]


def _tone(camera: Camera, linear: NDArray) -> NDArray[np.float32]:
    """Apply the sRGB curve, an S-shaped tone curve and colour strength; return 0 to 255."""
    x = np.linspace(0, 1, 4096)
    v = np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)
    v = v + camera.contrast * 0.6 * (v * v * (3 - 2 * v) - v)
    table = (255 * v).astype(np.float32)
    picture = table.take((np.clip(linear, 0, 1) * 4095).astype(np.int16))
    if abs(camera.colour - 1) > 0.01:
        k = np.float32(camera.colour)
        mix = k * np.eye(3, dtype=np.float32) + (1 - k) * np.float32([[0.3, 0.59, 0.11]] * 3)
        picture = cv2.transform(picture, mix)
    if camera.sharpen > 0.02:
        soft = cv2.GaussianBlur(picture, (0, 0), camera.sharpen_px)
        picture = picture + np.float32(camera.sharpen) * np.clip(picture - soft, -40, 40)
    return picture


def _file(camera: Camera, picture: NDArray) -> NDArray[np.uint8]:
    """Write as JPEG and read back."""
    bgr = np.clip(picture[..., ::-1] + 0.5, 0, 255).astype(np.uint8)
    factor = (
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420
        if camera.subsample
        else cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444
    )
    options = [cv2.IMWRITE_JPEG_QUALITY, camera.quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, factor]
    _, data = cv2.imencode(".jpg", bgr, options)
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])
