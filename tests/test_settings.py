"""``grader.toml`` of the working folder."""

import os

import pytest

from grader import settings
from grader.errors import SettingsError
from grader.settings import Settings, Used, load_settings, use_model, used_models


def write(folder, text):
    (folder / "grader.toml").write_text(text, "utf-8")
    return folder


def test_without_a_file_the_defaults_hold(tmp_path):
    assert load_settings(tmp_path) == Settings("banded", None, None, "g", None)


def test_every_setting_is_read(tmp_path):
    write(
        tmp_path,
        'profile = "mine.toml"\nmodel = "models/mine"\n'
        'mm_per_px = 0.1\nunits = "lb"\ncurrency = "EUR"\n',
    )
    assert load_settings(tmp_path) == Settings("mine.toml", "models/mine", 0.1, "lb", "EUR")


def test_a_byte_order_mark_does_not_matter(tmp_path):
    write(tmp_path, '\ufeffunits = "lb"\n')
    assert load_settings(tmp_path).units == "lb"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            'profil = "banded"',
            r"grader\.toml: the file has no setting 'profil' \(did you mean 'profile'\?\)",
        ),
        ("mm_per_px = 0", r"mm_per_px is 0; give a number from"),
        ('mm_per_px = "1"', r"mm_per_px is '1'; give a number from"),
        ("mm_per_px = true", r"mm_per_px is True; give a number from"),
        ("profile = 3", r"profile is 3; give a word"),
        ('model = ""', r"model is ''; give a word"),
        ('units = "kg"', r"units is 'kg'; one of g, lb"),
        (r'model = "a\u0000"', r"model is .*give a name that a file can have"),
        (f'model = "{"x" * 5000}"', r"give a name that a file can have"),
        (f"mm_per_px = {'[' * 5000}", r"lists within lists too deep"),
        (f"mm_per_px = {'9' * 5000}", r"not valid TOML"),
        (f"mm_per_px = 0x{'f' * 5000}", r"mm_per_px is too long to show"),
        ("mm_per_px = inf", r"mm_per_px is inf"),
        ("mm_per_px = nan", r"mm_per_px is nan"),
        (f"units = 0x{'f' * 5000}", r"units is too long"),
        ("units = ", r"not valid TOML .* mend that line"),
    ],
)
def test_a_wrong_setting_is_refused_in_one_line(tmp_path, text, said):
    with pytest.raises(SettingsError, match=said) as err:
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
    (tmp_path / "grader.toml").unlink()
    (tmp_path / "grader.toml").mkdir()
    with pytest.raises(SettingsError, match="a folder, not a file"):
        load_settings(tmp_path)


def test_a_file_that_is_no_text_is_refused(tmp_path):
    (tmp_path / "grader.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SettingsError, match=r"grader\.toml: cannot be read .* mend or remove it"):
        load_settings(tmp_path)


def test_a_model_is_written_where_there_is_no_file(tmp_path):
    use_model("models/mine", "m 01234567", "2026-11-28T10:00:00+01:00", tmp_path, replaced="r")
    assert load_settings(tmp_path).model == "models/mine"


def test_a_new_model_keeps_every_other_line(tmp_path):
    before = '# mine\nprofile = "banded"  # as shipped\nmodel = "old"\nmm_per_px = 0.1\n'
    use_model(
        "models/new",
        "m 01234567",
        "2026-11-28T10:00:00+01:00",
        write(tmp_path, before),
        replaced="r",
    )
    assert (tmp_path / "grader.toml").read_text("utf-8") == before.replace('"old"', '"models/new"')


def test_a_model_is_added_after_a_last_line_without_an_end(tmp_path):
    use_model(
        "m",
        "m 01234567",
        "2026-11-28T10:00:00+01:00",
        write(tmp_path, "mm_per_px = 0.1"),
        replaced="r",
    )
    assert (tmp_path / "grader.toml").read_text("utf-8") == 'mm_per_px = 0.1\nmodel = "m"\n'


@pytest.mark.parametrize("name", ['a "b" \\ c', "größe", "a\nb"])
def test_any_folder_name_is_read_back_as_it_was(tmp_path, name):
    use_model(name, "m 01234567", "2026-11-28T10:00:00+01:00", tmp_path, replaced="r")
    use_model(name, "m 01234567", "2026-11-28T10:00:00+01:00", tmp_path, replaced="r")
    assert load_settings(tmp_path).model == name


def test_a_file_that_does_not_make_sense_is_not_written_to(tmp_path):
    with pytest.raises(SettingsError):
        use_model(
            "m",
            "m 01234567",
            "2026-11-28T10:00:00+01:00",
            write(tmp_path, "nonsense = 1\n"),
            replaced="r",
        )
    assert (tmp_path / "grader.toml").read_text("utf-8") == "nonsense = 1\n"


def test_which_model_was_in_use_is_a_fact_that_is_only_ever_added(tmp_path):
    times = [f"2026-11-{day:02}T10:00:00+01:00" for day in (1, 2, 3)]
    for model, time in zip(("a", None, "b"), times, strict=True):
        use_model(model, f"{model} 01234567", time, tmp_path, replaced="starter 89abcdef")
    used, remark = used_models(tmp_path)
    # What was replaced by the first one stands before it.
    assert used[0] == Used(None, "starter 89abcdef", None)
    assert [(u.model, u.time) for u in used[1:]] == list(zip(("a", None, "b"), times, strict=True))
    assert remark is None and load_settings(tmp_path).model == "b"
    use_model(None, "starter 01234567", times[2], tmp_path, replaced="b")
    assert load_settings(tmp_path).model is None


def test_a_model_named_by_hand_is_written_down_when_it_is_replaced(tmp_path):
    use_model("a", "a 1", "2026-11-01", tmp_path, replaced="starter 0")
    use_model("c", "c 1", "2026-11-02", write(tmp_path, 'model = "./hand"\n'), replaced="hand 7")
    used, _ = used_models(tmp_path)
    assert [(u.model, u.label) for u in used[-2:]] == [("hand", "hand 7"), ("c", "c 1")]


def test_half_a_last_line_is_told_and_left(tmp_path):
    use_model("a", "a 1", "2026-11-01", tmp_path, replaced="starter 0")
    log = tmp_path / "models.jsonl"
    log.write_bytes(log.read_bytes()[:-9])
    used, remark = used_models(tmp_path)
    assert [u.model for u in used] == [None] and "line 2 is only half there" in remark
    use_model("b", "b 1", "2026-11-02", tmp_path, replaced="a 1")
    assert [u.model for u in used_models(tmp_path)[0]] == [None, "a", "b"]


def test_the_log_is_written_before_the_settings(tmp_path, monkeypatch):
    def cut(path, text):
        raise KeyboardInterrupt

    monkeypatch.setattr(settings, "write_text", cut)
    with pytest.raises(KeyboardInterrupt):
        use_model("b", "b 1", "2026-11-02", tmp_path, replaced="starter 0")
    assert [u.model for u in used_models(tmp_path)[0]] == [None, "b"]
    assert not (tmp_path / "grader.toml").exists()


def test_a_line_that_tells_no_model_is_named(tmp_path):
    (tmp_path / "models.jsonl").write_text('{"model": "a"}\n')
    with pytest.raises(SettingsError, match="line 1 tells no model"):
        used_models(tmp_path)
