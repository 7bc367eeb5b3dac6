"""What is shown is what is learned: the whole way by real commands, on rendered photos whose truth is known.

Nothing here is a stand-in. The photos are drawn under a lamp so warm that numbers without the card, the paper or the
terms are far off, so that every loss on the way shows.
"""

import json
from collections.abc import Sequence
from contextlib import chdir
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import face_pairs
import lamp_photos
import numpy as np
import pytest
import tomlkit
from typer.testing import CliRunner

from grader.called import called_in_ledger
from grader.calling import line_fact, place_on
from grader.cli.main import app
from grader.colours import marked_photos
from grader.face.regions.classes import fit_classes
from grader.face.sight.cut import cut_face
from grader.grade import facts_of, measure_file, measure_photo
from grader.grading.proposal import Call
from grader.ledger import views
from grader.ledger.store import open_ledger
from grader.looking import look_at
from grader.looks import ask_for, last_look, line_calls, patch_calls
from grader.photo.file import content_hash
from grader.photo.pieces import find_pieces
from grader.photo.read import read_photo
from grader.photo.reference import Reference, find_reference, no_reference
from grader.photo.terms import Neutral, PhotoTerms
from grader.profile import Profile, Setup, load_profile, profile_text
from grader.spots import spots_of

BANDED = load_profile()
NOW = "2026-03-02T10:11:12+01:00"
pytestmark = [pytest.mark.usefixtures("measured_once"), pytest.mark.slow]


@dataclass(frozen=True)
class Shop:
    """A working folder with a ledger of its own, and the command line in it."""

    folder: Path

    @property
    def ledger(self) -> Path:
        return self.folder / "ledger.sqlite"

    def run(self, *args) -> str:
        """Run a command, which must end well, and return what it prints."""
        with chdir(self.folder):
            ran = CliRunner().invoke(app, [*map(str, args), "--ledger", str(self.ledger)])
        assert ran.exit_code == 0, ran.output
        return ran.stdout

    def check(self, *args) -> dict:
        """Return what ``check --json`` tells of a photo."""
        return json.loads(self.run("check", *args, "--json"))

    def learned(self, profile: Profile = BANDED) -> dict:
        """Return the features that retrain takes for the called stones, by photo's content and piece."""
        with open_ledger(self.ledger) as ledger:
            return dict(called_in_ledger(ledger, profile).features)


@pytest.fixture
def shop(tmp_path) -> Shop:
    return Shop(tmp_path)


@pytest.fixture(scope="module")
def shots() -> dict[str, lamp_photos.Shot]:
    """Two photos of a stone beside the card, and one beside white paper."""
    drawn = [lamp_photos.stones([901, n], height_px=160, fill=0.17) for n in (0, 1)]
    return {
        "a.png": lamp_photos.beside_card(drawn[0]),
        "b.png": lamp_photos.beside_card(drawn[1]),
        "paper.png": lamp_photos.beside_paper(drawn[0]),
        # The same once more: a little darker, so that it is another photo.
        "again.png": lamp_photos.beside_paper(drawn[0], 0.96 * np.array(lamp_photos.LAMP)),
    }


@pytest.fixture(scope="module")
def files(shots, tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("photos")
    paths = {name: shot.written(folder / name) for name, shot in shots.items()}
    return paths | {"face.png": lamp_photos.whole_face(0, folder / "face.png")}


@pytest.fixture(scope="module")
def plain(files):
    """The features of the stones where nothing is said of the photos but that one face fills the last, by photo."""
    whole = {"a.png": False, "paper.png": False, "face.png": True}
    return {name: by_hand(files[name], PhotoTerms(whole=w), BANDED) for name, w in whole.items()}


@pytest.fixture(scope="module")
def season(files, tmp_path_factory):
    """Two carded photos graded, called by two people, learned from, and checked with the new model."""
    shop = Shop(tmp_path_factory.mktemp("season"))
    (shop.folder / "haul").mkdir()
    for name in ("a.png", "b.png"):
        (shop.folder / "haul" / name).write_bytes(files[name].read_bytes())
    shop.run("batch", "haul", "--height-mm", "0", "--workers", "1")
    shop.run("call", "haul/a.png", "--grade", "select", "--scene", "80", "--by", "Ann")
    shop.run("call", "haul/b.png", "--grade", "waste", "--by", "Ben")
    shop.run("call", "haul/a.png", "--grade", "cabbing", "--by", "Ben")
    shop.run("retrain", "--out", "mine", "--use")
    return shop


def by_hand(
    path: Path,
    terms: PhotoTerms,
    profile: Profile,
    reference: Reference | None = None,
    words: Sequence[Call] = (),
):
    """Return features by content and piece, of a photo measured step by step as its terms and words on lines say."""
    photo = read_photo(path, max_megapixels=100, mm_per_px=terms.mm_per_px)
    if reference is None:
        reference = find_reference(
            photo,
            setup=profile.setup,
            height_mm=terms.height_mm,
            neutral=terms.neutral,
            whole=terms.whole,
            camera_white=terms.camera_white,
        )
    further = [read_photo(other, max_megapixels=100, mm_per_px=None) for other in terms.same_face]
    measured = measure_photo(photo, terms, profile, reference, calls=words, same_face=further)
    return {
        (photo.sha256, piece.piece.id): facts_of(piece, profile).features
        for piece in measured.pieces
    }


def differing(one: dict, other: dict, off: float = 1e-9) -> dict[str, tuple]:
    """Return the features in which a stone differs from another look at it: by name, both values."""
    return {
        name: (one.get(name), other.get(name))
        for name in one.keys() | other.keys()
        if one.get(name) != other.get(name)
        and (None in (one.get(name), other.get(name)) or abs(one[name] - other[name]) > off)
    }


def assert_same(features: dict, expected: dict) -> None:
    """The same stones with the same features, to 1e-9."""
    assert features and features.keys() == expected.keys()
    assert {stone: differing(features[stone], expected[stone]) for stone in features} == {
        stone: {} for stone in features
    }


def holds_truth(shot: lamp_photos.Shot, record: dict) -> list[bool]:
    """Whether the interval of each share of each stone holds what is true; five in a hundred may miss it, by little."""
    return [
        share["low"] - 0.01 <= true <= share["high"] + 0.01
        for piece in record["pieces"]
        for name, true in shot.shares_at(piece["box"]).items()
        for share in [piece["shares"][name]]
    ]


def test_retrain_learns_from_what_a_fresh_look_at_the_same_photo_sees(
    season, files, shots, tmp_path
):
    """The truth is the renderer's; without the card neither it nor the numbers learned from would be met."""
    learned, fresh = season.learned(), {}
    for name in ("a.png", "b.png"):
        with open_ledger(tmp_path / f"{name}.sqlite") as empty:
            ask = ask_for(files[name], PhotoTerms(height_mm=0.0), empty)
            look = look_at(ask, BANDED, empty)
        assert not look.known
        for piece, facts in zip(look.record["pieces"], look.stones, strict=True):
            fresh[ask.sha256, piece["id"]] = facts.features
        assert holds_truth(shots[name], look.record) == [True] * 3
    assert_same(learned, fresh)
    assert len(learned) == 2


def test_without_the_card_what_is_learned_would_be_far_off(season, files, shots):
    photo = read_photo(files["a.png"], max_megapixels=100, mm_per_px=None)
    bare = by_hand(files["a.png"], PhotoTerms(height_mm=0.0), BANDED, no_reference(photo))
    ((stone, values),) = bare.items()
    learned = season.learned()[stone]
    (true,) = shots["a.png"].shares
    assert abs(learned["blue_share"] - true["blue"]) < 0.05
    assert abs(values["blue_share"] - true["blue"]) > 0.3
    assert learned["area_cm2"] is not None and values["area_cm2"] is None


def test_check_proposes_by_the_new_model_from_the_numbers_that_it_learned(season):
    """What the model keeps of the faces that it learned from is what check shows of them."""
    sample = json.loads((season.folder / "mine" / "sample.json").read_text("utf-8"))["faces"]
    shown = [
        season.check(f"haul/{name}", "--height-mm", "0")["pieces"][0] for name in ("a.png", "b.png")
    ]
    # Ben spoke last on the first photo, so his word counts.
    assert [piece["call"]["grade"] for piece in shown] == ["cabbing", "waste"]
    assert [len(piece["calls"]) for piece in shown] == [2, 1]
    checked = sorted((p["shares"]["blue"]["value"], p["area_cm2"]) for p in shown)
    kept = sorted((f["features"]["blue_share"], f["features"]["area_cm2"]) for f in sample)
    assert np.allclose(checked, kept, atol=0.01)
    assert all(piece["proposal"]["model"].startswith("mine ") for piece in shown)
    learned = sorted(values["blue_share"] for values in season.learned().values())
    assert learned == pytest.approx([blue for blue, _ in kept], abs=1e-9)


SETUP = Setup(height_mm=(18.0, 24.0), paper_lab=(92.0, 1.0, 6.0))


def profile_with_setup(path: Path) -> Path:
    _, text = profile_text("banded")
    document = tomlkit.parse(text)
    document["setup"] = {"height_mm": list(SETUP.height_mm), "paper_lab": list(SETUP.paper_lab)}
    path.write_text(tomlkit.dumps(document), "utf-8")
    return path


PAPER = Neutral((60, 30, 160, 40), "paper")
#: By name: the photo, whether by the profile with a setup, the options of ``check``, and what they say.
WAYS = {
    "height": ("a.png", False, ("--height-mm", "25"), PhotoTerms(height_mm=25.0)),
    "setup": ("a.png", True, (), PhotoTerms()),
    "paper": ("paper.png", False, ("--paper-at", "60,30,160,40"), PhotoTerms(neutral=PAPER)),
    "the camera's white": (
        "paper.png",
        False,
        ("--camera-white",),
        PhotoTerms(camera_white=True),
    ),
    "whole, wet, scale": (
        "face.png",
        False,
        ("--whole", "--state", "wet", "--mm-per-px", "0.3"),
        PhotoTerms(whole=True, state="wet", mm_per_px=0.3),
    ),
    "same face": (
        "paper.png",
        False,
        ("--paper-at", "60,30,160,40", "--same-face", "--state", "dry"),
        PhotoTerms(state="dry", neutral=PAPER),
    ),
}


@pytest.mark.parametrize("way", WAYS)
def test_what_is_called_is_learned_on_the_terms_on_which_it_was_shown(way, shop, files, plain):
    name, with_setup, options, terms = WAYS[way]
    named, profile = (), BANDED
    if with_setup:
        toml = profile_with_setup(shop.folder / "mine.toml")
        named, profile = ("--profile", toml), load_profile(toml)
        assert profile.setup == SETUP
    further = (files["again.png"],) if way == "same face" else ()
    terms = replace(terms, same_face=further)
    shown = shop.check(files[name], *further, *options, *named)
    assert [photo["used"] for photo in shown["photos"]] == [True] * (1 + len(further))
    # Neither command is told the terms again.
    shop.run("call", files[name], "--grade", "cabbing", "--by", "Ann", *named)
    learned = shop.learned(profile)
    assert_same(learned, by_hand(files[name], terms, profile))
    # The terms matter: on none of them other numbers come out.
    ((_, values),) = learned.items()
    ((_, silent),) = plain[name].items()
    assert differing(values, silent, 1e-3)


# --- several photos of one face, and words on lines -----------------------------------------------


@pytest.fixture(scope="module")
def pair(tmp_path_factory) -> list[Path]:
    """Two photos of a wet stone: by both its lines are numbered otherwise than by the first alone."""
    drawn = face_pairs.face_pair(
        [601, 2], glare=True, fill=0.5, width_px=260, height_px=200, kind="slab", state="wet", cracks=2
    )  # fmt: skip
    folder = tmp_path_factory.mktemp("pair")
    paths = [folder / "one.png", folder / "two.png"]
    for path, rgb in zip(paths, (drawn.first.rgb, drawn.other), strict=True):
        cv2.imwrite(str(path), np.ascontiguousarray(rgb[..., ::-1]))
    return paths


def lines_of(record: dict) -> dict[int, tuple]:
    """Return class and points of the lines of the one stone, by number."""
    (piece,) = record["pieces"]
    return {one["id"]: (one["class"], one["points"]) for one in piece["cracks"]["lines"]}


def test_a_word_on_a_line_lands_on_the_line_shown_and_is_learned(shop, pair):
    both = PhotoTerms(state="wet", same_face=(pair[1],))
    given = (*pair, "--same-face", "--state", "wet")
    shown = lines_of(shop.check(*given))
    alone = measure_file(pair[0], PhotoTerms(state="wet"), BANDED)
    ((_, second, *_),) = [piece.measurements.lines for piece in alone.pieces]
    # By the first photo alone, number 2 is another line.
    assert shown[2][0] == "crack" and second.kind == "pattern line"
    shop.run("call", pair[0], "--grade", "cabbing", "--by", "Ann")
    before = shop.learned()
    shop.run("call", pair[0], "--line", "2", "--is", "pattern", "--found", "healed", "--by", "Ann")
    with open_ledger(shop.ledger) as ledger:
        (word,) = views.line_words(ledger)
        assert [list(point) for point in word.fact.points] == shown[2][1]
        words = line_calls(word.fact.sha256, ledger)
        # The numbers that a person has before him stay; what a look says now is learned.
        assert lines_of(last_look(content_hash(pair[0]), ledger).record) == shown
    after = shop.learned()
    assert_same(after, by_hand(pair[0], both, BANDED, words=words))
    again = shop.check(*given)
    assert ("pattern line", shown[2][1]) in lines_of(again).values()
    ((stone, values),) = after.items()
    assert (
        values["crack_count"]
        == before[stone]["crack_count"] - 1
        == again["pieces"][0]["cracks"]["count"]
    )
    assert values["crack_density"] < before[stone]["crack_density"]


@pytest.mark.slow
def test_a_word_on_a_photo_that_was_moved_since_is_learned_from_the_photo_itself(
    shop, pair, tmp_path
):
    before = [tmp_path / "before" / path.name for path in pair]
    before[0].parent.mkdir()
    for path, new in zip(pair, before, strict=True):
        new.write_bytes(path.read_bytes())
    shop.run("check", *before, "--same-face", "--state", "wet")
    before[0].parent.rename(tmp_path / "after")
    moved = [tmp_path / "after" / path.name for path in pair]
    shop.run("check", *moved, "--same-face", "--state", "wet")
    shop.run("call", moved[0], "--grade", "cabbing", "--by", "Ann")
    shop.run("call", moved[0], "--line", "1", "--is", "pattern", "--by", "Ann")
    with open_ledger(shop.ledger) as ledger:
        words = line_calls(content_hash(moved[0]), ledger)
    terms = PhotoTerms(state="wet", same_face=(moved[1],))
    assert_same(shop.learned(), by_hand(moved[0], terms, BANDED, words=words))


def test_a_photo_that_is_gone_is_learned_from_with_its_words_and_its_further_photos(
    shop, pair, tmp_path
):
    """From what was kept of it: once more the same numbers, but for the word."""
    moved = [tmp_path / path.name for path in pair]
    for path, new in zip(pair, moved, strict=True):
        new.write_bytes(path.read_bytes())
    shop.run("check", *moved, "--same-face", "--state", "wet")
    shop.run("call", moved[0], "--grade", "cabbing", "--by", "Ann")
    before = shop.learned()
    for path in moved:
        path.unlink()
    with open_ledger(shop.ledger) as ledger:
        look = last_look(next(iter(before))[0], ledger)
        piece = look.record["pieces"][0]
        call = place_on(
            look, Call("one.png", look.ask.sha256, 1, None, None, None, "Ann", NOW, None)
        )
        ledger.add(line_fact(look, call, 2, "pattern"), author="Ann")
    assert piece["cracks"]["lines"][1]["class"] == "crack"
    ((stone, values),) = shop.learned().items()
    assert values["crack_count"] == before[stone]["crack_count"] - 1
    # What is kept of it is rounded: colours and bands know nothing of lines and stay within that.
    for name in ("blue_share", "white_share", "host_share", "blue_chroma", "white_lightness"):
        assert values[name] == pytest.approx(before[stone][name], rel=0.01, abs=0.003)


# --- colours ---------------------------------------------------------------------------------------


def spots_on(shot: lamp_photos.Shot, name: str) -> list[str]:
    """Return spots of blue, white and host, 5 px wide, each where the truth is all of one class."""
    spots = []
    for code, colour in enumerate(("blue", "white", "host"), start=1):
        inside = cv2.erode((shot.regions == code).astype(np.uint8), np.ones((7, 7)))
        rows, columns = np.nonzero(inside)
        for n in np.random.default_rng(3).choice(len(rows), 4, replace=False):
            spots.append(f"{name},{columns[n] - 2},{rows[n] - 2},5,5,{colour}")
    return spots


def classes_from(files: dict[str, Path], spots: list[str], reference=None) -> Profile:
    """Return the profile that spots give on the face as measuring sees it, of which they are cut out."""
    photo = read_photo(files["a.png"], max_megapixels=100, mm_per_px=None)
    (piece,), _ = find_pieces(photo)
    face = cut_face(photo, piece, reference or find_reference(photo))
    assert face.px_per_photo_px == 1.0
    marked: dict[str, list] = {}
    for spot in spots_of(spots):
        x, y = (int(v - o) for v, o in zip((spot.x, spot.y), face.origin_px, strict=True))
        assert face.mask[y : y + 5, x : x + 5].all()
        marked.setdefault(spot.name, []).append(face.lab[y : y + 5, x : x + 5].reshape(-1, 3))
    # One stone alone: nothing is held out that could show that ranges are to draw back.
    return fit_classes(marked, BANDED, inwards=False)


def ranges(profile: Profile) -> np.ndarray:
    """Return the ranges of L*, C* and h of blue and white."""
    return np.array([(c.lightness, c.chroma, c.hue_deg) for c in profile.colours[:2]])


def test_colours_are_fitted_by_the_light_that_check_sees_by(shop, files, shots):
    """By the light of the photo as it was shown: by the bare lamp other classes come out."""
    colours = shop.check(files["a.png"], "--height-mm", "0")["pieces"][0]["colour"]
    spots = spots_on(shots["a.png"], str(files["a.png"]))
    given = [part for spot in spots for part in ("--spot", spot)]
    output = shop.run("colours", "--out", "fitted.toml", *given)
    assert "still named otherwise" not in output
    fitted = load_profile(shop.folder / "fitted.toml")
    assert ranges(fitted) == pytest.approx(ranges(classes_from(files, spots)), abs=0.5)
    for colour in fitted.colours[:2]:
        spans = (colour.lightness, colour.chroma, colour.hue_deg)
        for key, (low, high) in zip(("L", "C", "h"), spans, strict=True):
            assert low <= colours[colour.name][key] <= high
    photo = read_photo(files["a.png"], max_megapixels=100, mm_per_px=None)
    by_lamp = ranges(classes_from(files, spots, no_reference(photo)))
    assert np.abs(by_lamp - ranges(fitted)).max() > 5
    with open_ledger(shop.ledger) as ledger:
        (again,) = marked_photos(spots_of(spots), [], PhotoTerms(), BANDED, ledger).values()
    assert again.terms.height_mm == 0.0


# --- words on patches ------------------------------------------------------------------------------


def test_a_word_on_a_patch_is_shown_and_learned_alike_and_gone_when_withdrawn(shop, files, shots):
    """The word holds at once, for showing and for learning, from the photo and from what is kept of it."""
    path = shop.folder / "a.png"
    path.write_bytes(files["a.png"].read_bytes())
    before = shop.check(path, "--height-mm", "0")["pieces"][0]["shares"]
    # The middle of the widest true blue, which the seller now calls host.
    distance = cv2.distanceTransform((shots["a.png"].regions == 1).astype(np.uint8), cv2.DIST_L2, 5)
    y, x = np.unravel_index(distance.argmax(), distance.shape)
    shop.run("call", path, "--grade", "cabbing", "--by", "Ann")
    silent = shop.learned()
    line = shop.run("call", path, "--patch", f"{x},{y}", "--is", "Host", "--by", "Ann")
    assert ": host by Ann; by this word blue " in line
    shown = shop.check(path, "--height-mm", "0")["pieces"][0]["shares"]
    assert shown["blue"]["value"] < before["blue"]["value"] - 0.05
    assert shown["host"]["value"] > before["host"]["value"] + 0.05
    learned = shop.learned()
    with open_ledger(shop.ledger) as ledger:
        (word,) = views.region_words(ledger)
        assert (word.author, word.fact.says, word.fact.x, word.fact.y) == (
            "Ann",
            "host",
            x - 2,
            y - 2,
        )
        words = patch_calls(word.fact.sha256, ledger)
    assert_same(learned, by_hand(path, PhotoTerms(height_mm=0.0), BANDED, words=words))
    ((_, values),) = learned.items()
    assert values["blue_share"] == pytest.approx(shown["blue"]["value"], abs=1e-3)
    assert differing(values, next(iter(silent.values())), 1e-2)
    # Without the photo, from what was kept of it.
    shop.run("call", path, "--patch", f"{x},{y}", "--is", "withdrawn", "--by", "Ann")
    assert_same(shop.learned(), silent)
    shop.run("call", path, "--patch", f"{x},{y},3,3", "--is", "host", "--by", "Ann")
    path.unlink()
    ((_, kept),) = shop.learned().items()
    assert kept["blue_share"] == pytest.approx(values["blue_share"], abs=0.01)


@pytest.mark.slow
def test_words_on_patches_offer_a_profile(shop, files, shots):
    """The same spots, as words on patches and behind --spot, give the same ranges, judged by what stood before."""
    shop.check(files["a.png"], "--height-mm", "0")
    spots = spots_on(shots["a.png"], str(files["a.png"]))
    for spot in spots:
        *_, x, y, w, h, name = spot.split(",")
        shop.run("call", files["a.png"], "--patch", f"{x},{y},{w},{h}", "--is", name, "--by", "Ann")
    from_words = shop.run("colours", "--out", "said.toml")
    given = [part for spot in spots for part in ("--spot", spot)]
    typed = shop.run("colours", "--out", "typed.toml", *given)
    assert (
        from_words.splitlines()[0]
        == typed.splitlines()[0]
        == "spots marked: blue 4, white 4, host 4"
    )
    assert from_words == typed
    fitted = [load_profile(shop.folder / name) for name in ("said.toml", "typed.toml")]
    assert fitted[0].colours == fitted[1].colours
