"""The command line in a working folder of its own, before hand-made photos."""

import hashlib
import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from typer.testing import CliRunner

from grader import batch, calling
from grader.errors import PhotoError
from grader.grade import FurtherPhoto
from grader.grading import model


@pytest.fixture
def cli(tmp_path, monkeypatch, make_graded):
    """Photos are text files: a number of stones, "bad" (cannot be read) or "retake"."""
    from grader.cli.main import app

    terms_seen = []

    def grade(path, **terms):
        terms_seen.append(terms)
        others = [made_from(other, None).photo for other in terms.get("same_face", ())]
        made = made_from(path, terms["mm_per_px"])
        return replace(made, same_face=tuple(FurtherPhoto(other, None) for other in others))

    def made_from(path, mm_per_px):
        path = Path(path)
        if not path.is_file():
            raise PhotoError(f"{path.name}: no such photo; mend the name", "missing")
        content = path.read_bytes()
        if content.startswith(b"bad"):
            raise PhotoError(f"{path.name}: not a photo; give a JPEG", "not_a_photo")
        retake = content.startswith(b"retake")
        made = make_graded(
            1 if retake else int(content[:1]),
            name=path.name,
            mm_per_px=mm_per_px,
            verdict="retake" if retake else "usable",
        )
        sha256 = hashlib.sha256(content).hexdigest()
        return replace(made, photo=replace(made.photo, sha256=sha256))

    made_of = {}

    def read(path, *, max_megapixels, mm_per_px):
        made = grade(path, mm_per_px=mm_per_px)
        made_of[made.photo.sha256] = made
        return made.photo

    def measured(photo, profile=None, **_):
        return tuple(piece.measured for piece in made_of[photo.sha256].pieces), ()

    monkeypatch.setattr(calling, "read_photo", read)
    monkeypatch.setattr(
        calling, "find_pieces", lambda photo: (tuple(m.piece for m in measured(photo)[0]), ())
    )
    monkeypatch.setattr(calling, "measure_photo", measured)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(batch, "grade_photo", grade)
    without_crowd = SimpleNamespace(
        grade=SimpleNamespace(crowd=None, calls=0), made=SimpleNamespace(stones=())
    )
    monkeypatch.setattr(
        model,
        "load_model",
        lambda folder=None: SimpleNamespace(
            label=f"{folder}", for_ladder=lambda profile: without_crowd
        ),
    )
    monkeypatch.setattr(batch, "load_model", model.load_model)
    monkeypatch.setattr(batch, "Model", SimpleNamespace)

    def run(*args):
        terms_seen.clear()
        return CliRunner().invoke(app, [str(arg) for arg in args])

    def photo(name, content="1"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(content)
        return name

    return SimpleNamespace(
        run=run,
        photo=photo,
        folder=tmp_path,
        terms=terms_seen,
        calls=lambda: [
            json.loads(line) for line in (tmp_path / "calls.jsonl").read_text("utf-8").splitlines()
        ],
    )
