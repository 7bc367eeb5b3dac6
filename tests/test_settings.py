"""``grader.toml``, found upward from the working folder, and what a command makes of it."""

import os

import pytest

from grader.errors import LedgerError, SettingsError
from grader.ledger.place import default_path
from grader.photo.terms import PhotoTerms
from grader.session import Session
from grader.settings import BreakRanges, Settings, load_settings


def write(folder, text):
    (folder / "grader.toml").write_text(text, "utf-8")
    return folder


def test_without_a_file_the_defaults_hold(tmp_path):
    assert load_settings(tmp_path) == Settings("banded", None, None, None, None)


def test_every_setting_is_read(tmp_path):
    write(
        tmp_path,
        'profile = "banded"\nledger = "books/mine.sqlite"\n'
        'mm_per_px = 0.1\nby = "Nell"\ndecider = "Mira"\n',
    )
    ledger = tmp_path / "books" / "mine.sqlite"
    assert load_settings(tmp_path) == Settings("banded", 0.1, ledger, "Nell", "Mira")


def test_ranges_of_breaking_are_read_and_what_is_not_named_stays(tmp_path):
    write(tmp_path, "[breaking]\nopens = [0, 1]\n")
    assert load_settings(tmp_path).breaking == BreakRanges(opens=(0.0, 1.0))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[breaking]\nopens = 0.5\n", "two shares from 0 to 1"),
        ("[breaking]\nloss = [0.2, 0.1]\n", "the lower first"),
        ("[breaking]\nchips = [0, 2]\n", "from 0 to 1"),
        ("[breaking]\nopen = [0, 1]\n", "opens"),
        ("breaking = 3\n", "breaking"),
    ],
)
def test_ranges_of_breaking_that_cannot_be_are_refused(tmp_path, text, told):
    with pytest.raises(SettingsError, match=told):
        load_settings(write(tmp_path, text))


def test_a_byte_order_mark_does_not_matter(tmp_path):
    write(tmp_path, '\ufeffby = "Nell"\n')
    assert load_settings(tmp_path).by == "Nell"


def test_the_nearest_file_upward_counts_and_no_other(tmp_path):
    deep = tmp_path / "haul" / "tray"
    deep.mkdir(parents=True)
    write(tmp_path, 'by = "Nell"\nmm_per_px = 0.1\n')
    assert load_settings(deep).by == "Nell"
    write(deep.parent, 'by = "Mira"\n')
    # Two files are not mixed.
    assert load_settings(deep) == Settings(by="Mira")
    assert load_settings(tmp_path).mm_per_px == 0.1


def test_a_folder_by_that_name_is_none(tmp_path):
    (tmp_path / "haul" / "grader.toml").mkdir(parents=True)
    write(tmp_path, 'by = "Nell"\n')
    assert load_settings(tmp_path / "haul").by == "Nell"


def test_files_are_taken_from_the_folder_of_the_settings(tmp_path, monkeypatch):
    (tmp_path / "haul").mkdir()
    (tmp_path / "mine.toml").write_text("")
    write(tmp_path, 'profile = "mine.toml"\nledger = "mine.sqlite"\n')
    monkeypatch.chdir(tmp_path / "haul")
    settings = load_settings()
    assert settings.profile == str(tmp_path / "mine.toml")
    assert settings.ledger == tmp_path / "mine.sqlite"


def test_a_whole_path_stays_and_a_shipped_profile_is_a_name(tmp_path):
    elsewhere = tmp_path / "far" / "l.sqlite"
    write(tmp_path, f"profile = \"banded\"\nledger = '{elsewhere}'\n")
    settings = load_settings(tmp_path)
    assert (settings.profile, settings.ledger) == ("banded", elsewhere)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        (
            'profil = "banded"',
            r"grader\.toml: the file has no setting 'profil' \(did you mean 'profile'\?\)",
        ),
        ("mm_per_px = 0", r"mm_per_px is 0; give a number from"),
        ('mm_per_px = "1"', r"mm_per_px is '1'; give a number from"),
        ("mm_per_px = true", r"mm_per_px is True; give a number from"),
        ("profile = 3", r"profile is 3; give a word"),
        ('ledger = ""', r"ledger is ''; give a word"),
        ("by = 7", r"by is 7; give a word"),
        ('decider = " "', r"decider is ' '; give a word"),
        # Which model is in use stands in the ledger.
        ('model = "mine"', r"the file has no setting 'model'"),
        (r'by = "a\u0000"', r"by is .*give a name that a file can have"),
        (f"mm_per_px = {'[' * 5000}", r"lists within lists too deep"),
        (f"mm_per_px = {'9' * 5000}", r"not valid TOML"),
        (f"mm_per_px = 0x{'f' * 5000}", r"mm_per_px is too long to show"),
        ("mm_per_px = inf", r"mm_per_px is inf"),
        ("mm_per_px = nan", r"mm_per_px is nan"),
        ("by = ", r"not valid TOML .* mend that line"),
    ],
)
def test_a_wrong_setting_is_refused_in_one_line(tmp_path, text, reason):
    with pytest.raises(SettingsError, match=reason) as err:
        load_settings(write(tmp_path, text + "\n"))
    assert "\n" not in str(err.value)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name")
def test_settings_are_read_from_a_file_of_a_sensible_size_alone(tmp_path):
    os.mkfifo(tmp_path / "grader.toml")
    with pytest.raises(SettingsError, match="not a file on a disk"):
        load_settings(tmp_path)
    (tmp_path / "grader.toml").unlink()
    (tmp_path / "grader.toml").write_bytes(b"#" * 2_000_000)
    with pytest.raises(SettingsError, match="larger than 1 MB"):
        load_settings(tmp_path)


def test_a_file_that_is_no_text_is_refused(tmp_path):
    (tmp_path / "grader.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SettingsError, match=r"grader\.toml: cannot be read .* mend or remove it"):
        load_settings(tmp_path)


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_ledger_is_that_of_the_command_line_else_of_the_settings_else_the_users(here):
    assert Session().ledger_path == default_path()
    write(here, 'ledger = "mine.sqlite"\n')
    assert Session().ledger_path == here / "mine.sqlite"
    assert Session(ledger=here / "other.sqlite").ledger_path == here / "other.sqlite"


@pytest.mark.slow
def test_closing_tells_whether_a_ledger_was_open_that_is_not_the_usual_one(here):
    other, usual, untouched = Session(ledger=here / "other.sqlite"), Session(), Session()
    assert other.ledger is not None and usual.ledger is not None
    assert (other.close(), usual.close(), untouched.close()) == (True, False, False)


def test_a_dry_session_has_no_ledger_and_makes_none(here, data_folder):
    session = Session(dry=True)
    assert session.ledger is None and session.model_use is None
    with pytest.raises(LedgerError, match="a call needs the ledger; leave --no-ledger out"):
        session.need_ledger("a call")
    assert session.close() is False
    assert list(data_folder.iterdir()) == [] and list(here.iterdir()) == []


def test_the_usual_scale_holds_where_the_command_line_gives_none(here):
    write(here, "mm_per_px = 0.1\n")
    assert Session().with_usual_scale(PhotoTerms(whole=True)) == PhotoTerms(0.1, whole=True)
    assert Session().with_usual_scale(PhotoTerms(0.2)) == PhotoTerms(0.2)
