"""Plain stones of the seller's: one of his colours all over, which of all his stones look most like another kind.

Few of the photos that the starter learns from show one; without them it took half of the plain slabs for walls.
"""

from collections.abc import Callable, Mapping

import numpy as np

from grader.render import Rendered, Style, render_photo
from grader.render.declared import DeclaredFace
from grader.render.pattern import Figure, Grid

#: Sides of a photo of one, px, and how large its face is in it: shares of the photo's width and height.
WIDTH_PX, HEIGHT_PX = 800, 600
FACE_SHARE = (0.45, 0.8)

#: How often a plain stone is an even slab without a line; the palettes of strong blue.
BARE = 0.6
STRONG_BLUES = ("royal", "violet-blue", "navy")

#: Returns the pattern on a grid in mm.
Picture = Callable[[np.random.Generator, Grid], Figure]


def draw_plain_stone(rng: np.random.Generator, style: Style) -> Rendered:
    """Return a photo of one of the seller's stones that is strong blue, blue, white or host all over."""
    name = str(rng.choice(["strong blue", "blue", "white", "host"], p=[0.3, 0.25, 0.2, 0.25]))
    dye = str(rng.choice(STRONG_BLUES)) if name == "strong blue" else None
    chosen = {"cracks": 0, "healed": 0, "strays": False, "glare": False, "kind": "slab"}
    bare = rng.random() < BARE
    pale = rng.uniform(0.5, 1.0)
    return draw_stone_photo(
        rng,
        style,
        chosen if bare else {},
        picture=one_class(name, dye),
        chroma_share=1.0 if dye else pale,
    )


def draw_stone_photo(
    rng: np.random.Generator, style: Style, chosen: Mapping[str, object], **said: object
) -> Rendered:
    """Return a photo of one stone, whole, with nothing else upon it; what is not said is drawn at random.

    chosen : fields of ``PhotoChoices``, of the photo.   said : fields of ``DeclaredFace``, of the face; ``picture`` is
    needed, size and outline are drawn.
    """
    wide = WIDTH_PX * rng.uniform(*FACE_SHARE)
    high = min(wide * rng.uniform(0.55, 1.0), 0.85 * HEIGHT_PX)
    face = DeclaredFace(
        size_mm=(0.1 * wide, 0.1 * high),
        squareness=rng.uniform(1.9, 4.0),
        **said,
    )
    return render_photo(
        rng, style, width_px=WIDTH_PX, height_px=HEIGHT_PX, stones=1, mm_per_px=0.1, face=face,
        cut=False, touching=False, finger=False, **({"kind": str(rng.choice(["slab", "chunk", "cab"]))} | chosen),
    )  # fmt: skip


def one_class(name: str, dye: str | None = None) -> Picture:
    """Return the picture of a face that is one class all over.

    name : "white" or "host"; any other word is blue.   dye : name of the blue palette, ``None`` for any.
    """

    def picture(rng: np.random.Generator, grid: Grid) -> Figure:
        weight = {key: np.full(grid.shape, key == name, np.float32) for key in ("white", "host")}
        tone = rng.uniform(0.5, 2.5) * grid.noise(rng, 9.0, 3)
        return Figure(**weight, tone=tone, dyes=(dye, None))

    return picture
