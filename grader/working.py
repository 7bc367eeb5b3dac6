"""The working picture of a stone: what is kept beside a measurement, enough to measure the stone again.

It is the face at working size as a picture in the photo's own encoding, and a record: where it lies in the photo, what
its colours and lengths are referred to, and what a face alone cannot tell again (the seller's state, what further
photos filled and showed). Measured again it goes the way of a photo from its face on; all is told in px of that photo.
"""

from base64 import b64decode, b64encode
from dataclasses import dataclass, fields, is_dataclass, replace
from io import BytesIO

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from grader.errors import PhotoError
from grader.face.face import Face
from grader.face.sight.cut import cut_face, face_of
from grader.face.sight.drying import DriedLines
from grader.face.sight.filled import GlareFilledFace
from grader.face.sight.view import see_face
from grader.face.words import NOTHING_SAID, StoneWords
from grader.grade import MeasuredPiece, measure_view
from grader.photo.chart import Correction
from grader.photo.colour import codes_from_linear, srgb_encoding
from grader.photo.light import LightField, White
from grader.photo.photo import ColourEncoding, Photo, Scale
from grader.photo.pieces import Piece
from grader.photo.reference import Reference
from grader.photo.surface import State
from grader.profile import Profile

#: A picture has at most so many bytes.
MOST_BYTES = 1_000_000
#: Lossless WebP, and the figures stay the same to the last digit. Its quickest way took 0.1 s for a face where the
#: usual one took 0.7 s and saved a sixth; a PNG as quick is half as large again. What is too noisy for it becomes a
#: JPEG without thinned-out colour, of the first of these qualities that fits.
LOSSLESS = {"lossless": True, "method": 0, "quality": 20}
QUALITIES = (100, 99, 98, 97, 96, 95, 93, 90, 86, 80, 70, 55, 35, 10)
_FULL_COLOUR = (cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444)


@dataclass(frozen=True)
class Kept:
    """A working picture, read.

    Attributes
    ----------
    photo : the picture as a photo of its own, with the name and hash of the photo that it is cut from.
    piece : the stone, in px of that photo.
    reference : of that photo, its scale that at the stone.
    face : the picture as a face.
    state : as found, and who said so.
    filled : ndarray of shape (h, w), bool, what was filled from further photos.   filled_share : of the face, of glare.
    drying : what a wet and a dry photo showed of lines, ``None`` where there was no such pair.
    """

    photo: Photo
    piece: Piece
    reference: Reference
    face: Face
    state: State
    filled: NDArray[np.bool_]
    filled_share: float
    drying: DriedLines | None
    weight_g: float | None


def working_picture(
    measured: MeasuredPiece, photo: Photo, reference: Reference
) -> tuple[bytes, dict]:
    """Return the picture of a measured stone, WebP or JPEG of at most ``MOST_BYTES``, and its record as plain JSON.

    Parameters
    ----------
    photo, reference : that the stone was measured in.
    """
    face = measured.face
    encoding = _eight_bit(photo)
    filled = None
    if measured.filled_share:
        own = cut_face(photo, measured.piece, reference).linear
        filled = {
            "share": measured.filled_share,
            "mask": _mask_text((own != face.linear).any(axis=2)),
        }
    record = {
        "photo": {
            "name": photo.name,
            "sha256": photo.sha256,
            "width": photo.width,
            "height": photo.height,
        },
        "piece": _plain(measured.piece),
        "px_per_photo_px": face.px_per_photo_px,
        "encoding": _encoding_record(encoding),
        # What is to be said of the photo is said in its own record.
        "white": _plain(reference.white) | {"remarks": []},
        "field": reference.field and _plain(reference.field),
        "correction": reference.correction and _plain(reference.correction),
        "scale": _plain(measured.scale),
        "state": _plain(measured.state),
        "filled": filled,
        "drying": _drying_record(measured),
        "weight_g": measured.weight_g,
    }
    return encoded(codes_from_linear(face.linear, encoding)), record


def measure_again(
    picture: bytes, record: dict, profile: Profile, words: StoneWords = NOTHING_SAID
) -> MeasuredPiece:
    """Return the stone of a working picture, measured as from its photo and told in px of that.

    Parameters
    ----------
    words : the seller's on lines and patches of this stone, in px of the photo.

    Raises
    ------
    PhotoError
        ``unreadable`` : picture or record is damaged.
    """
    kept = read_working(picture, record)
    # Gloss that was filled is gone, so the state that it told holds.
    settled = kept.state.source == "seller" or bool(kept.filled_share)
    view = see_face(kept.face, profile, kept.state.value if settled else None, words.patches)
    if settled:
        view = replace(view, state=kept.state)
    measured = measure_view(
        kept.piece,
        view,
        GlareFilledFace(view.face, view.chance, kept.filled_share),
        view.hidden | kept.filled,
        kept.reference.scale,
        profile,
        words,
        kept.drying,
    )
    return replace(measured, weight_g=kept.weight_g)


def read_working(picture: bytes, record: dict) -> Kept:
    """Return a working picture and its record, read.

    Raises
    ------
    PhotoError
        ``unreadable`` : one of them is damaged, or they do not fit each other.
    """
    try:
        return _read(picture, record)
    except (KeyError, TypeError, ValueError, AttributeError, cv2.error) as err:
        raise PhotoError(
            "the kept picture of a stone is damaged; measure its photo again", "unreadable"
        ) from err


def kept_photo(picture: bytes, record: dict) -> tuple[Photo, float]:
    """Return a working picture as a photo of the stone's box alone, and px of it per px of the photo.

    Raises
    ------
    PhotoError
        ``unreadable`` : one of them is damaged.
    """
    try:
        rgb = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_COLOR_RGB)
        if rgb is None:
            raise ValueError("no picture")
        kept = record["photo"]
        photo = Photo(kept["name"], rgb, _encoding(record["encoding"]), kept["sha256"])
        return photo, record["px_per_photo_px"]
    except (KeyError, TypeError, ValueError, AttributeError, cv2.error) as err:
        raise PhotoError(
            "the kept picture of a stone is damaged; measure its photo again", "unreadable"
        ) from err


def encoded(codes: NDArray[np.uint8]) -> bytes:
    """Return a picture, (h, w, 3) RGB, as a file of at most ``MOST_BYTES``: as it is, or as near as fits."""
    stream = BytesIO()
    Image.fromarray(np.ascontiguousarray(codes)).save(stream, "WEBP", **LOSSLESS)
    data = stream.getvalue()
    bgr = np.ascontiguousarray(codes[..., ::-1])
    for quality in QUALITIES:
        if len(data) <= MOST_BYTES:
            break
        settings = (cv2.IMWRITE_JPEG_QUALITY, quality, *_FULL_COLOUR)
        data = cv2.imencode(".jpg", bgr, settings)[1].tobytes()
    return data


def _read(picture: bytes, record: dict) -> Kept:
    rgb = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_COLOR_RGB)
    if rgb is None:
        raise ValueError("no picture")
    kept_piece = record["piece"]
    outline = np.array(kept_piece["outline"], np.float32)
    upon = tuple(np.array(one, np.float32) for one in kept_piece.get("covered", ()))
    piece = Piece(
        kept_piece["id"], tuple(kept_piece["box"]), outline, kept_piece["cut_by_frame"], upon
    )
    factor, (_, _, w, h) = record["px_per_photo_px"], piece.box
    if rgb.shape[:2] != (max(1, round(h * factor)), max(1, round(w * factor))):
        raise ValueError("a picture of another size")
    reference = Reference(
        White(
            **_arrays(record["white"], "gains")
            | {"sd": tuple(record["white"]["sd"]), "remarks": ()}
        ),
        field=record["field"] and LightField(**_arrays(record["field"], "terms", "spread")),
        correction=record["correction"] and Correction(**_arrays(record["correction"], "matrix")),
        scale=Scale(**record["scale"]),
    )
    photo = Photo(
        record["photo"]["name"],
        rgb,
        _encoding(record["encoding"]),
        record["photo"]["sha256"],
    )
    face = face_of(photo.rgb, photo.encoding, piece, factor, reference)
    filled = record["filled"]
    return Kept(
        photo=photo,
        piece=piece,
        reference=reference,
        face=face,
        state=State(**record["state"]),
        filled=np.zeros(face.mask.shape, bool) | (_mask(filled["mask"]) if filled else False),
        filled_share=filled["share"] if filled else 0.0,
        drying=_drying(record["drying"], face),
        weight_g=record["weight_g"],
    )


def _eight_bit(photo: Photo) -> ColourEncoding:
    """The photo's encoding in 8 bits: of 16 its primaries with sRGB's curve.

    Its steps are even to the eye, while a straight curve would leave the dark without any.
    """
    if photo.rgb.dtype == np.uint8:
        return photo.encoding
    return replace(photo.encoding, curves=srgb_encoding().curves)


def _encoding_record(encoding: ColourEncoding) -> dict:
    curves = encoding.curves
    usual = np.array_equal(curves, srgb_encoding().curves)
    alike = (curves == curves[0]).all()
    return {
        "name": encoding.name,
        # One curve stands for three that are the same, none for sRGB's.
        "curves": None if usual else (curves[:1] if alike else curves).tolist(),
        "to_linear_srgb": encoding.to_linear_srgb.tolist(),
    }


def _encoding(record: dict) -> ColourEncoding:
    curves = srgb_encoding().curves
    if record["curves"] is not None:
        curves = np.broadcast_to(np.array(record["curves"], np.float32), (3, 256)).copy()
    return ColourEncoding(
        record["name"], curves, np.array(record["to_linear_srgb"], np.float32).reshape(3, 3)
    )


def _drying_record(measured: MeasuredPiece) -> list[dict] | None:
    """The lines of which a pair said something; ``None`` where there was no pair."""
    dried = [line for line in measured.measurements.lines if line.drying_ratio is not None]
    return [
        {
            "points": np.round(measured.face.to_photo_px(line.points), 2).tolist(),
            "ratio": line.drying_ratio,
        }
        for line in dried
    ] or None


def _drying(record: list[dict] | None, face: Face) -> DriedLines | None:
    if record and min(line["ratio"] for line in record) <= 0:
        raise ValueError("a likelihood ratio of 0 or less")
    return record and DriedLines(
        tuple((face.from_photo_px(np.array(line["points"])), line["ratio"]) for line in record)
    )


def _mask_text(mask: NDArray[np.bool_]) -> str:
    """A mask as a PNG of one bit a px, in text."""
    settings = (cv2.IMWRITE_PNG_BILEVEL, 1)
    return b64encode(cv2.imencode(".png", mask.view(np.uint8) * 255, settings)[1]).decode("ascii")


def _mask(text: str) -> NDArray[np.bool_]:
    data = np.frombuffer(b64decode(text), np.uint8)
    return cv2.imdecode(data, cv2.IMREAD_GRAYSCALE) > 0


def _plain(value):
    """A record as JSON has it: records become objects, arrays and tuples lists."""
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    return value.tolist() if isinstance(value, np.ndarray | np.generic) else value


def _arrays(record: dict, *keys: str) -> dict:
    return record | {key: np.array(record[key], np.float64) for key in keys}
