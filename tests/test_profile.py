# ruff: noqa: E501
"""Profiles: what ships, what is refused, and how plainly."""

import os
import re
import tomllib
from importlib import resources

import pytest

from grader.errors import SettingsError
from grader.measures import MEASURES
from grader.profile import RULE_MEASURES, Profile, load_profile, profile_names

BANDED = (resources.files("grader") / "profiles" / "banded.toml").read_text("utf-8")
#: Its own line, whichever version it is.
VERSION = re.search(r"^version = \d+$", BANDED, re.M).group()


def load(tmp_path, *changes: tuple[str, str]) -> Profile:
    """The shipped profile with some of its text replaced."""
    text = BANDED
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "mine.toml"
    path.write_text(text, "utf-8")
    return load_profile(path)


def test_the_shipped_profile_holds_the_agreed_classes_and_ladder():
    profile = load_profile()
    assert [colour.name for colour in profile.colours] == ["blue", "white", "host"]
    assert profile.grades == ("waste", "tumbling", "cabbing", "select")
    assert profile.ovals_mm == ((18, 13), (25, 18), (30, 22), (40, 30))
    assert profile.colours[2].kinds == ("rusty", "grey")


def test_every_grade_has_a_meaning_of_one_line():
    for rung in load_profile().ladder:
        assert rung.meaning
        assert "\n" not in rung.meaning


def test_codes_follow_the_order_of_the_classes():
    profile = load_profile()
    assert [profile.codes(role) for role in ("water", "sky", "shore", "none")] == [
        (1,),
        (2,),
        (3,),
        (),
    ]


def test_all_that_ships_can_be_loaded():
    assert "banded" in profile_names()
    for name in profile_names():
        assert load_profile(name).name == name


def test_a_name_without_its_ending_is_a_shipped_profile_and_a_file_is_a_file(tmp_path):
    assert load(tmp_path).sha256 == load_profile("banded").sha256


def test_the_hash_follows_the_settings_and_not_the_comments(tmp_path):
    same = load(tmp_path, ("# Colour classes", "# Another word"))
    other = load(tmp_path, ("glare_share = 0.25", "glare_share = 0.30"))
    assert same.sha256 == load_profile().sha256 != other.sha256


def test_grades_can_be_renamed_and_added(tmp_path):
    one_more = '[[ladder]]\ngrade = "schön"\nmeaning = "the best"\nsell_as = "single"\n\n[[rules]]'
    assert load(tmp_path, ("[[rules]]", one_more)).grades[-1] == "schön"


def test_rules_speak_of_declared_measures_only():
    # pattern_share is blue and white together: a measure of the rules alone.
    assert set(RULE_MEASURES) - {"pattern_share"} <= set(MEASURES)


REFUSED = [
    (("name =", "nam ="), "profile has no setting 'nam' (did you mean 'name'?); remove or rename it"),
    ((f"{VERSION}\n", ""), "profile lacks 'version'; add it"),
    (('name = "banded"', 'name = ""'), "name is ''; give a word or a line"),
    ((VERSION, 'version = "1"'), "version is '1'; give a number from 1 to"),
    ((VERSION, "version = true"), "version is True; give a number from 1 to"),
    ((VERSION, "version = ="), "not valid TOML"),
    (("lightness = [3, 80]\n", ""), "a colour class lacks 'lightness'; add it"),
    (("lightness = [3, 80]", "lightness = [80, 3]"), "colours.blue.lightness is [80, 3]; give the lower number first"),
    (("lightness = [3, 80]", "lightness = [3]"), "colours.blue.lightness is [3]; give two numbers"),
    (("lightness = [3, 80]", "lightness = [3, 101]"), "colours.blue.lightness is 101; give a number from 0 to 100"),
    (('reads_as = "water"', 'reads_as = "watr"'), "colours.blue.reads_as is 'watr' (did you mean 'water'?)"),
    (('kinds = ["rusty", "grey"]', 'kinds = ["rusty"]'), "colours.host.kinds is ['rusty']; give two names"),
    (('sell_as = "chips"', 'sell_as = "chip"'), "ladder.tumbling.sell_as is 'chip'; one of single, by weight"),
    (('grade = "tumbling"', 'grade = "waste"'), "the ladder needs at least two grades, each named once"),
    (('[[rules]]\ngrade = "select"', '[[rules]]\ngrade = "best"'), "a rule is for grade 'best', which is not on the ladder"),
    (("blue_chroma = 24", "blue_croma = 12"), "rules.select.at_least has no setting 'blue_croma' (did you mean 'blue_chroma'?)"),
    (("horizon = 15", "horizon = -1"), "scene.horizon is -1; give a number from 0 to 1000"),
    (("glare_share = 0.25", "glare_share = 2"), "limits.glare_share is 2; give a number from 0 to 1"),
    (("[limits]", "[limit]"), "profile has no setting 'limit' (did you mean 'limits'?)"),
    (("[sizes]\novals_mm = [[18, 13], [25, 18], [30, 22], [40, 30]]", "sizes = 3"), "sizes is 3; give a table of settings"),
    (('name = "white"', 'name = "blue"'), "two colour classes of one name; give each its own"),
    (("[[18, 13], [25, 18], [30, 22], [40, 30]]", "[]"), "sizes.ovals_mm is []; give one oval at least"),
    (("[[18, 13], [25, 18], [30, 22], [40, 30]]", "18"), "sizes.ovals_mm is 18; give one oval at least"),
    (("at_least = { colour_room_share = 0.3, blue_chroma = 20 }", "at_least = 0.7"), "rules.cabbing.at_least is 0.7; give a table of settings"),
    (("[[18, 13], ", "[[18], "), "sizes.ovals_mm is [18]; give two numbers"),
]  # fmt: skip


def test_a_profile_from_before_the_finest_line_was_asked_takes_the_usual_one(tmp_path):
    assert load(tmp_path, ("line_mm = 0.4\n", "")).limits.line_mm == 0.4
    assert load(tmp_path, ("line_mm = 0.4", "line_mm = 0.25")).limits.line_mm == 0.25


@pytest.mark.parametrize(("change", "reason"), REFUSED, ids=[reason[:40] for _, reason in REFUSED])
def test_a_wrong_profile_is_refused_in_one_line_that_says_where(tmp_path, change, reason):
    if change[1] == "sizes = 3":
        # A plain key stands above every table.
        text = BANDED.replace(change[0], "", 1).replace("rounds_mm = [18, 25]\n", "", 1)
        text = text.replace(VERSION, f"{VERSION}\nsizes = 3")
        (tmp_path / "mine.toml").write_text(text, "utf-8")
        refused = pytest.raises(SettingsError, match=re.escape(reason))
        with refused as err:
            load_profile(tmp_path / "mine.toml")
    else:
        with pytest.raises(SettingsError, match=re.escape(reason)) as err:
            load(tmp_path, change)
    assert str(err.value).startswith(str(tmp_path / "mine.toml"))
    assert "\n" not in str(err.value)


def test_all_scene_weights_zero_are_refused(tmp_path):
    weights = tomllib.loads(BANDED)["scene"]
    changes = [(f"{part} = {weight}\n", f"{part} = 0\n") for part, weight in weights.items()]
    with pytest.raises(SettingsError, match="the scene weights are all 0; give at least one"):
        load(tmp_path, *changes)


def test_one_colour_class_is_too_few(tmp_path):
    head, _, tail = BANDED.partition("[[colours]]")
    ladder = "[[ladder]]" + tail.partition("[[ladder]]")[2]
    one = (
        '[[colours]]\nname = "blue"\nlightness = [3, 80]\nchroma = [7, 90]\nhue_deg = [195, 325]\n'
    )
    (tmp_path / "mine.toml").write_text(head + one + ladder, "utf-8")
    with pytest.raises(SettingsError, match="1 colour classes; declare 2 to 8"):
        load_profile(tmp_path / "mine.toml")


def test_a_list_of_tables_is_asked_for_where_there_is_none(tmp_path):
    text = BANDED.replace(VERSION, f'{VERSION}\nrules = "none"')
    text = re.sub(r"\[\[rules\]\]\n(?:[^\[].*\n)+", "", text)
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    with pytest.raises(
        SettingsError, match=r"rules is not a list of tables; write \[\[rules\]\] above each"
    ):
        load_profile(tmp_path / "mine.toml")


def test_an_unknown_name_is_told_with_the_nearest():
    with pytest.raises(
        SettingsError, match=r"profile 'bandet' is not known \(did you mean 'banded'\?\)"
    ):
        load_profile("bandet")


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(SettingsError, match=r"none\.toml: no profile can be read there"):
        load_profile(tmp_path / "none.toml")


def test_a_file_that_is_no_text_is_told(tmp_path):
    (tmp_path / "photo.toml").write_bytes(b"\xff\xd8\xff\xe0")
    with pytest.raises(SettingsError, match=r"photo\.toml: not a text file in UTF-8"):
        load_profile(tmp_path / "photo.toml")


def test_how_the_seller_photographs_may_be_left_out(tmp_path):
    bare = load(tmp_path, ("[setup]", ""), ("height_mm = [5, 60]", ""))
    assert bare.setup == load_profile().setup
    own = load(
        tmp_path, ("height_mm = [5, 60]", "height_mm = [20, 30]\npaper_lab = [93.1, 0.4, -6.5]")
    )
    assert own.setup.height_mm == (20, 30)
    assert own.setup.paper_lab == (93.1, 0.4, -6.5)


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("height_mm = [60, 5]", "lower number first"),
        ("paper_lab = [94]", "L*, a* and b*"),
        ("paper_lab = [94, 0, 90]", "from -30 to 20"),
        ("paper = 3", "has no setting"),
    ],
)
def test_a_setup_that_makes_no_sense_is_refused(tmp_path, line, reason):
    with pytest.raises(SettingsError, match=re.escape(reason)):
        load(tmp_path, ("height_mm = [5, 60]", line))


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ('kinds = ["rusty", "grey"]', 'kinds = ["rusty", "rusty"]', "kinds has 'rusty', which is a name already"),
        ('kinds = ["rusty", "grey"]', 'kinds = ["blue", "grey"]', "kinds has 'blue', which is a name already"),
        ('kinds = ["rusty", "grey"]', 'kinds = ["usable", "grey"]', "kinds has 'usable'"),
        ('kinds = ["rusty", "grey"]', 'kinds = ["", "grey"]', "kinds is ''; give a word"),
        ('name = "host"', 'name = "glare"', "is called 'glare', as another measure is"),
        ('name = "host"', 'name = "ho\\u001bst"', "give one line of plain letters"),
        ('name = "host"', f'name = "{"x" * 2000}"', "give one line of plain letters"),
        ("glare_share = 0.25", f"glare_share = {'9' * 5000}", "not valid TOML"),
        ("glare_share = 0.25", f"glare_share = 0x{'f' * 5000}", "glare_share is too long to show"),
        ("glare_share = 0.25", f"glare_share = {'9' * 400}", "glare_share is 999"),
        ("glare_share = 0.25", "glare_share = nan", "glare_share is nan"),
        ("glare_share = 0.25", "glare_share = inf", "glare_share is inf"),
        ("glare_share = 0.25", f"glare_share = {'[' * 5000}{']' * 5000}", "too deep"),
        ('sell_as = "single"', f"sell_as = 0x{'f' * 5000}", "sell_as is too long"),
        ('reads_as = "sky"', f"reads_as = 0x{'f' * 5000}", "reads_as is too long"),
        ("glare_share = 0.25", f"{'a' * 5000} = 1", "has no setting 'aaa"),
    ],
)  # fmt: skip
def test_what_no_profile_holds_is_told_in_one_short_line(tmp_path, old, new, reason):
    with pytest.raises(SettingsError) as err:
        load(tmp_path, (old, new))
    assert reason in str(err.value)
    assert "\n" not in str(err.value) and len(str(err.value)) < 400


def test_a_profile_with_a_byte_order_mark_is_the_same(tmp_path):
    assert load(tmp_path, (BANDED, f"\ufeff{BANDED}")).sha256 == load_profile().sha256


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name")
def test_a_profile_is_a_file_of_a_sensible_size(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "large.toml").write_bytes(bytes(2_000_000))
    (tmp_path / "zero.toml").symlink_to("/dev/zero")
    for name, reason in (
        ("pipe", "not a file"),
        ("large", "larger than 1 MB"),
        ("zero", "not a file"),
    ):
        with pytest.raises(
            SettingsError, match=rf"{name}\.toml: no profile can be read .*{reason}"
        ):
            load_profile(tmp_path / f"{name}.toml")
    for name in ("a\0.toml", "x" * 5000, "a\0"):
        with pytest.raises(SettingsError) as err:
            load_profile(name)
        assert len(str(err.value).removeprefix(name)) < 400
