"""Grades photographed faces of banded scenic rough. The public names, resolved when first used."""

from importlib import import_module

__version__ = "0.1.0"

_PUBLIC = {
    "GraderError": "grader.errors",
    "Graded": "grader.grade",
    "GradedPiece": "grader.grade",
    "MEASURES": "grader.measures",
    "MeasuredPhoto": "grader.grade",
    "Photo": "grader.photo.photo",
    "PhotoTerms": "grader.photo.terms",
    "Profile": "grader.profile",
    "cut_face": "grader.face.sight.cut",
    "draw_overlay": "grader.report.overlay",
    "find_pieces": "grader.photo.pieces",
    "find_reference": "grader.photo.reference",
    "fit_profile": "grader.colours",
    "grade_folder": "grader.batch",
    "grade_photo": "grader.grade",
    "load_model": "grader.grading.models.model_files",
    "load_profile": "grader.profile",
    "measure_face": "grader.face.measure",
    "measure_file": "grader.grade",
    "open_ledger": "grader.ledger.store",
    "photo_record": "grader.report.result",
    "read_photo": "grader.photo.read",
    "retrain": "grader.grading.learning.retrain",
}

__all__ = sorted(_PUBLIC)


def __getattr__(name: str):
    # Late, so that `grader --help` does not wait for the image libraries.
    if name not in _PUBLIC:
        raise AttributeError(f"module 'grader' has no attribute {name!r}")
    return getattr(import_module(_PUBLIC[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_PUBLIC])
