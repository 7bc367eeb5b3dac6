"""How a photo is to be looked at: all that the seller says of it, in one record."""

from dataclasses import asdict, dataclass, fields
from decimal import Decimal
from pathlib import Path

from grader.weight import Weight


@dataclass(frozen=True)
class Neutral:
    """A neutral place that the seller declares: a box x, y, w, h in px of the upright photo, and "paper" or "tray"."""

    box: tuple[int, int, int, int]
    kind: str


@dataclass(frozen=True)
class PhotoTerms:
    """What a seller says of a photo; with its content, the profile and the words on lines it settles what is measured.

    A new term is a field here, an option in ``cli/options.py``, and the place that uses it.

    mm_per_px : millimetres per px of the upright full-size photo.
    height_mm : of the faces above the photo card; 0 for a card at their height.
    neutral : a neutral place in the photo.
    camera_white : the camera's colours stay where nothing of known colour is seen: no light is estimated.
    state : "wet", "dry" or "patchy"; else read from the photo.
    whole : the picture is filled by one face, so nothing is cut out.
    same_face : further photos of the same face, lamp or camera moved: as files, or where terms are kept as content
        hashes.
    dried : the photo shows the face wet, the further ones after it has dried.
    weight : of the one stone in the photo.
    tags : look for tags, which say the numbers of stones and are none themselves.
    """

    mm_per_px: float | None = None
    height_mm: float | None = None
    neutral: Neutral | None = None
    camera_white: bool = False
    state: str | None = None
    whole: bool = False
    same_face: tuple[str | Path, ...] = ()
    dried: bool = False
    weight: Weight | None = None
    tags: bool = False

    @property
    def weight_g(self) -> float | None:
        """The weight in grams, ``None`` where the seller says none."""
        return None if self.weight is None else float(self.weight)

    def as_record(self) -> dict:
        """Return the terms as plain data; what is not said is left out, so that a new term changes no old record."""
        record = {f.name: getattr(self, f.name) for f in fields(self)}
        record = {name: value for name, value in record.items() if value != _SILENT[name]}
        for name in ("neutral", "weight"):
            if name in record:
                record[name] = {
                    k: str(v) if isinstance(v, Decimal) else v
                    for k, v in asdict(record[name]).items()
                }
        if "neutral" in record:
            record["neutral"]["box"] = list(self.neutral.box)
        if "same_face" in record:
            record["same_face"] = [str(photo) for photo in self.same_face]
        return record


_SILENT = {f.name: f.default for f in fields(PhotoTerms)}


def terms_from(record: dict) -> PhotoTerms:
    """Return the terms of a record that :meth:`PhotoTerms.as_record` made.

    Raises
    ------
    ValueError, TypeError, KeyError
        It holds something else.
    """
    values = dict(record)
    if "neutral" in values:
        x, y, w, h = (int(v) for v in values["neutral"]["box"])
        values["neutral"] = Neutral((x, y, w, h), str(values["neutral"]["kind"]))
    if "weight" in values:
        values["weight"] = Weight(
            str(values["weight"]["typed"]), Decimal(values["weight"]["grams"])
        )
    if "same_face" in values:
        values["same_face"] = tuple(str(photo) for photo in values["same_face"])
    return PhotoTerms(**values)
