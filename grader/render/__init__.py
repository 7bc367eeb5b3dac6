"""Draws photographs of stones with exact truth: for training, samples and tests, never for a seller's own photos."""

from grader.render.photograph import render_photo
from grader.render.style import HELD_OUT, HELD_OUT_LINES, TRAINING, Style
from grader.render.truth import BandTruth, DrawnLine, Rendered, StoneTruth

__all__ = [
    "HELD_OUT",
    "HELD_OUT_LINES",
    "TRAINING",
    "BandTruth",
    "DrawnLine",
    "Rendered",
    "StoneTruth",
    "Style",
    "render_photo",
]
