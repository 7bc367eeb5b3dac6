"""From a face to its measurements, in the order of the data."""

from grader.face.bands import measure_bands
from grader.face.cracks import find_cracks
from grader.face.face import Face
from grader.face.glare import find_glare
from grader.face.measurements import Measurements
from grader.face.regions import find_regions
from grader.face.scene import measure_scene
from grader.profile import Profile


def measure_face(face: Face, profile: Profile) -> Measurements:
    """Return all that is measured on one face: glare, regions, bands, lines, scene."""
    regions = find_regions(face, find_glare(face), profile)
    banding = measure_bands(face, regions, profile)
    lines = find_cracks(face, regions)
    scene = measure_scene(face, regions, lines, profile)
    return Measurements(
        regions=regions,
        banding=banding,
        lines=lines,
        scene=scene,
        face_area_px=int(face.mask.sum()),
        px_per_photo_px=face.px_per_photo_px,
        mm_per_px=face.mm_per_px,
    )
