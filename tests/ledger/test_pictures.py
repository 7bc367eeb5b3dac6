"""Pictures are named by their content and come back as they were, or not at all."""

import hashlib

import pytest

from grader.errors import GraderError, LedgerError
from grader.ledger.pictures import Pictures


@pytest.fixture
def pictures(path):
    return Pictures(path)


def test_a_picture_comes_back_by_its_name(path, pictures):
    name = pictures.put(b"a stone", "jpg")
    assert name == hashlib.sha256(b"a stone").hexdigest() + ".jpg"
    assert pictures.get(name) == b"a stone"
    assert pictures.has(name)
    assert pictures.path(name) == path.parent / "ledger.pictures" / name[:2] / name
    assert pictures.names() == [name]


def test_a_picture_that_is_there_is_not_written_again(pictures):
    name = pictures.put(b"a stone", "jpg")
    before = pictures.path(name).stat()
    assert pictures.put(b"a stone", "jpg") == name
    assert pictures.path(name).stat().st_ino == before.st_ino


def test_half_a_picture_is_written_anew(pictures):
    name = pictures.put(b"a stone", "jpg")
    pictures.path(name).write_bytes(b"a st")
    assert pictures.put(b"a stone", "jpg") == name
    assert pictures.get(name) == b"a stone"


def test_a_picture_that_is_gone_or_changed_is_told(pictures):
    name = pictures.put(b"a stone", "jpg")
    pictures.path(name).write_bytes(b"a stove")
    with pytest.raises(LedgerError, match="was changed; remove it and grade its photo again"):
        pictures.get(name)
    pictures.path(name).unlink()
    assert not pictures.has(name)
    with pytest.raises(LedgerError, match="is gone; grade its photo again or restore a backup"):
        pictures.get(name)


def test_a_picture_that_cannot_be_read_is_told(pictures):
    name = pictures.put(b"a stone", "jpg")
    pictures.path(name).unlink()
    pictures.path(name).mkdir()
    with pytest.raises(LedgerError, match="cannot be read"):
        pictures.get(name)


@pytest.mark.parametrize(
    "name", ["", "a.jpg", "../" + "a" * 64 + ".jpg", "a" * 64 + ".jpg/..", "A" * 64 + ".jpg"]
)
def test_a_name_leads_nowhere_else(pictures, name):
    with pytest.raises(LedgerError, match="is no name of one"):
        pictures.get(name)


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "ledger.pictures").touch()
    with pytest.raises(GraderError, match="cannot be written"):
        Pictures(tmp_path / "ledger.sqlite").put(b"a stone", "jpg")


def test_files_of_others_among_the_pictures_are_no_pictures(pictures):
    name = pictures.put(b"a stone", "jpg")
    (pictures.path(name).parent / "notes.txt").touch()
    assert pictures.names() == [name]
