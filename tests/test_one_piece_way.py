"""A piece photographed from two sides, the whole way by real commands on rendered photos: nothing is a stand-in."""

import csv
import json
from contextlib import chdir

import numpy as np
import pytest
from typer.testing import CliRunner

from grader.called import called_in_ledger
from grader.cli.main import app
from grader.grading.features.facts import facts_from
from grader.grading.features.several_faces import piece_facts
from grader.ledger import views
from grader.ledger.store import open_ledger
from grader.profile import load_profile
from grader.render import TRAINING, render_photo
from grader.render.files import write_photo

BANDED = load_profile()


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A folder with photos of the two faces of a slab, and of another one."""
    folder = tmp_path_factory.mktemp("shop")
    for name, seed, cracks in (("front.png", 3, 0), ("back.png", 11, 3), ("other.png", 5, 0)):
        drawn = render_photo(
            np.random.default_rng(seed), TRAINING, stones=1, kind="slab", fill=0.35, state="wet",
            glare=False, finger=False, cracks=cracks, width_px=480, height_px=360,
        )  # fmt: skip
        write_photo(folder / name, drawn.rgb)
    return folder


def run(shop, *args):
    with chdir(shop):
        ran = CliRunner().invoke(app, [*map(str, args), "--ledger", "ledger.sqlite"])
    assert ran.exit_code == 0, ran.output
    return ran.stdout


@pytest.mark.slow
def test_a_piece_with_two_faces_from_check_to_what_retrain_learns(shop):
    both = ("front.png", "back.png")
    front, back = json.loads(run(shop, "check", *both, "--one-piece", "--weight-g", 412, "--json"))
    piece = front["pieces"][0]["piece"]
    assert piece == back["pieces"][0]["piece"] and piece["weight_g"] == 412
    best = max((front, back), key=lambda record: record["pieces"][0]["scene"]["score"])
    assert piece["scene_from"] == best["photo"]["file"]
    told = run(shop, "check", *both, "--one-piece", "--weight-g", 412)
    likely = piece["proposal"]["likely"]
    assert f"The piece, 2 faces   {likely[0]}" in told or piece["proposal"]["unfamiliar"]
    said = run(
        shop, "call", *both, "--one-piece", "--grade", "select", "--scene", 60, "--by", "Nell"
    )
    assert said.startswith("saved: front.png and back.png, one piece: select, scene 60 by Nell")
    run(shop, "call", "other.png", "--grade", "tumbling", "--by", "Nell")
    for name in both:
        stone = json.loads(run(shop, "check", name, "--weight-g", 412, "--json"))["pieces"][0]
        assert (
            stone["call"]["grade"] == "select" and stone["piece"]["proposal"] == piece["proposal"]
        )
    with open_ledger(shop / "ledger.sqlite") as ledger:
        called = called_in_ledger(ledger, BANDED)
        shown = {stone.sha256: facts_from(stone.facts) for stone in views.stones(ledger)}
    faces = [shown[face["sha256"]] for face in piece["faces"]]
    assert [call.grade for call in called.calls] == ["select", "tumbling"] and not called.refused
    of_piece = called.calls[0].sha256, called.calls[0].piece
    assert called.features[of_piece] == piece_facts(faces, BANDED).features
    run(shop, "batch", ".", "--workers", 1)
    with open(shop / "graded" / "results.csv", encoding="utf-8", newline="") as table:
        rows = {row["photo"]: row for row in csv.DictReader(table)}
    assert [rows[name]["face_of_piece"] for name in both] == ["1 of 2", "2 of 2"]
    assert rows["front.png"]["likely"] == rows["back.png"]["likely"]
    assert "holds now: no call" in run(shop, "call", "back.png", "--undo")
    stone = json.loads(run(shop, "check", "front.png", "--json"))["pieces"][0]
    assert stone["call"] is None
