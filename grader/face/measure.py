"""From a face to its measurements, in the order of the data."""

from grader.face.bands.bands import measure_bands
from grader.face.face import Face
from grader.face.lines.cracks import find_cracks
from grader.face.lines.line_words import with_line_words
from grader.face.lines.lines import line_facts
from grader.face.lines.sound import sound_stone
from grader.face.measurements import Measurements, Regions
from grader.face.regions.regions import find_regions
from grader.face.room import measure_room
from grader.face.scene.scene import measure_scene
from grader.face.sight.drying import DriedLines, DryingPair, with_drying
from grader.face.sight.glare import find_glare
from grader.face.words import NOTHING_SAID, StoneWords
from grader.profile import Profile


def measure_face(
    face: Face,
    profile: Profile,
    regions: Regions | None = None,
    words: StoneWords = NOTHING_SAID,
    drying: DryingPair | DriedLines | None = None,
) -> Measurements:
    """Return all that is measured on one face: glare, regions, bands, lines, scene, sound stone.

    regions : where they are found already, words on patches and all; else glare and regions are looked for.
    words : what the seller says of parts of this face.
    drying : the face wet and dry, where two photos show it so, or what they showed of its lines.
    """
    if regions is None:
        regions = find_regions(face, find_glare(face), profile, words.patches)
    banding = measure_bands(face, regions, profile)
    lines = with_line_words(find_cracks(face, regions), words.lines, face)
    if drying is not None:
        lines = with_drying(lines, drying)
    scene = measure_scene(face, regions, lines, profile)
    lines = line_facts(lines, face, regions, profile)
    return Measurements(
        regions=regions,
        banding=banding,
        lines=lines,
        scene=scene,
        face_area_px=int(face.mask.sum()),
        px_per_photo_px=face.px_per_photo_px,
        mm_per_px=face.mm_per_px,
        sound=sound_stone(face.mask, lines, face.mm_per_px, profile.ovals_mm),
        room=measure_room(face, regions, lines, profile),
    )
