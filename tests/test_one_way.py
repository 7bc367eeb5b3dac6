"""What is shown is what is learned: the whole way by real commands, on rendered photos whose truth is known.

Nothing here is a stand-in. The photos are drawn under a lamp so warm that numbers without the card, the paper or the
terms are far off, so that every loss on the way shows.
"""

import json
from contextlib import chdir
from dataclasses import dataclass
from pathlib import Path

import face_pairs
import lamp_photos
import numpy as np
import pytest
import tomlkit
from typer.testing import CliRunner

from grader.called import called_in_ledger
from grader.cli.main import app
from grader.colours import fit_profile, marked_photos, spots_of
from grader.grade import facts_of, measure_file, measure_photo
from grader.ledger import views
from grader.ledger.store import open_ledger
from grader.looks import ask_for, last_look, look_at
from grader.photo.photo import Photo
from grader.photo.read import content_hash, read_photo
from grader.photo.reference import Reference, find_reference, no_reference
from grader.photo.terms import Neutral, PhotoTerms
from grader.profile import Profile, Setup, load_profile, profile_text

BANDED = load_profile()


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
    }


@pytest.fixture(scope="module")
def files(shots, tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("photos")
    return {name: shot.written(folder / name) for name, shot in shots.items()}


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


def by_hand(path: Path, terms: PhotoTerms, profile: Profile, reference: Reference | None = None):
    """Return features by content and piece, of a photo measured step by step as its terms say."""
    photo = read_photo(path, max_megapixels=100, mm_per_px=terms.mm_per_px)
    if reference is None:
        reference = find_reference(
            photo, setup=profile.setup, height_mm=terms.height_mm, neutral=terms.neutral
        )
    further = [read_photo(other, max_megapixels=100, mm_per_px=None) for other in terms.same_face]
    measured = measure_photo(photo, terms, profile, reference, same_face=further)
    return {
        (photo.sha256, piece.piece.id): facts_of(piece, profile).features
        for piece in measured.pieces
    }


def assert_same(features: dict, expected: dict) -> None:
    """The same stones with the same features, to 1e-9."""
    assert features.keys() == expected.keys() and features
    for stone, values in expected.items():
        assert features[stone] == pytest.approx(values, abs=1e-9, rel=1e-9)


def holds_truth(shot: lamp_photos.Shot, record: dict) -> list[bool]:
    """Whether the interval of each share of each stone holds what is true."""
    return [
        told["low"] <= true <= told["high"]
        for piece in record["pieces"]
        for name, true in shot.shares_at(piece["box"]).items()
        for told in [piece["regions"]["shares"][name]]
    ]


def test_retrain_learns_from_what_a_fresh_look_at_the_same_photo_sees(season, files, shots, tmp_path):
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
    shown = [season.check(f"haul/{name}")["pieces"][0] for name in ("a.png", "b.png")]
    # Ben spoke last on the first photo, so his word counts.
    assert [piece["call"]["grade"] for piece in shown] == ["cabbing", "waste"]
    assert [len(piece["calls"]) for piece in shown] == [2, 1]
    seen = sorted((p["regions"]["shares"]["blue"]["value"], p["area_cm2"]) for p in shown)
    kept = sorted((f["features"]["blue_share"], f["features"]["area_cm2"]) for f in sample)
    assert np.allclose(seen, kept, atol=0.01)
    assert all(piece["proposal"]["model"].startswith("mine ") for piece in shown)
    stones = {stone: facts for stone, facts in season.learned().items()}
    assert {round(v["blue_share"], 9) for v in stones.values()} == {
        round(blue, 9) for blue, _ in kept
    }


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
    "whole, dry, scale": (
        "paper.png",
        False,
        ("--whole", "--state", "dry", "--mm-per-px", "0.3", "--paper-at", "60,30,160,40"),
        PhotoTerms(whole=True, state="dry", mm_per_px=0.3, neutral=PAPER),
    ),
}


@pytest.mark.parametrize("way", WAYS)
def test_what_is_called_is_learned_on_the_terms_on_which_it_was_shown(way, shop, files):
    name, with_setup, options, terms = WAYS[way]
    named, profile = (), BANDED
    if with_setup:
        toml = profile_with_setup(shop.folder / "mine.toml")
        named, profile = ("--profile", toml), load_profile(toml)
        assert profile.setup == SETUP
    shop.run("check", files[name], *options, *named)
    # Neither command is told the terms again.
    shop.run("call", files[name], "--grade", "cabbing", "--by", "Ann", *named)
    learned = shop.learned(profile)
    assert_same(learned, by_hand(files[name], terms, profile))
    # The terms matter: on none of them other numbers come out.
    ((stone, values),) = learned.items()
    ((_, plain),) = by_hand(files[name], PhotoTerms(), BANDED).items()
    differing = {k for k in values if values[k] != pytest.approx(plain[k], abs=1e-6)}
    assert differing & {"area_cm2", "blue_chroma", "white_lightness"}
