"""Facts come back from their text as they were, and what may not lie in a ledger is refused in one line."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.errors import LedgerError
from grader.ledger import facts
from grader.ledger.facts import Measured, checked_author, checked_time
from grader.ledger.kinds import KINDS, read_fact


def test_every_kind_of_fact_comes_back_from_its_text(made):
    all_facts = made.every_kind()
    assert {one.kind for one in all_facts} == set(KINDS)
    for one in all_facts:
        assert read_fact(one.kind, one.to_body(), one.uid) == one


def test_a_body_is_strict_json_without_the_uid(made):
    for one in made.every_kind():
        body = json.loads(one.to_body(), parse_constant=pytest.fail)
        assert isinstance(body, dict)
        assert "uid" not in body


def test_the_keys_of_a_record_keep_their_order(made):
    record = {"zinc": 1, "air": {"b": 1, "a": 2}}
    one = Measured(made.LAKE, {}, (), 6, "banded", made.PROFILE, record, {}, {})
    back = Measured.from_body(one.to_body(), one.uid).record
    assert list(back) == ["zinc", "air"]
    assert list(back["air"]) == ["b", "a"]


PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=12,
)  # fmt: skip


@pytest.mark.slow
@given(record=st.dictionaries(st.text(), PLAIN, max_size=4), piece=st.integers(1, 999))
def test_any_plain_json_object_is_a_record(record, piece):
    one = Measured("a" * 64, record, (), 6, "banded", "b" * 64, record, {piece: record}, {})
    assert Measured.from_body(one.to_body(), one.uid) == one


def nested(depth):
    record = {}
    for _ in range(depth):
        record = {"in": record}
    return record


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("sha256", "A" * 64, "sha256 must be 64 hexadecimal digits"),
        ("sha256", None, "sha256 must be 64 hexadecimal digits"),
        ("box", [0, 0, 0, 5], "box must be a whole number from 1"),
        ("box", [-1, 0, 5, 5], "box must be a whole number from 0"),
        ("box", [0, 0, 5], "box must be x, y, width and height"),
        ("box", [0.0, 0, 5, 5], "box must be a whole number"),
        ("piece_id", True, "piece_id must be a whole number"),
        ("piece_id", 0, "piece_id must be a whole number from 1"),
        ("scene", 101, "scene must be a whole number from 0 to 100"),
        ("grade", "", "grade must be text of 1 to"),
        ("grade", "x" * 1001, "grade must be text of 1 to 1000"),
        ("note", "moss\0", "note holds characters that cannot be kept"),
        ("photo", "\udce4.jpg", "photo holds characters that cannot be kept"),
        ("outline", [[1, 2], [3, 4]], "outline must be 3 to"),
        ("outline", [[1, 2], [3, 4], [5]], "outline must be points x, y"),
        ("outline", [[1, 2], [3, 4], [5, math.nan]], "outline must be points x, y"),
        ("outline", [[1, 2], [3, 4], [5, 10**7]], "outline must be points x, y"),
        ("outline", "abc", "outline must be 3 to"),
        ("measured", "1", "measured must be 32 hexadecimal digits"),
        ("shown", {"grade": "fine"}, "shown must hold grade, scene, model and state"),
        ("shown", {"grade": 1, "scene": 1, "model": "m", "state": "wet"}, "shown must be text"),
        (
            "shown",
            {"grade": "f", "scene": 1, "model": "m", "state": "damp"},
            "shown must be one of",
        ),
    ],
)
def test_a_call_that_cannot_be_kept_is_refused_in_one_line(made, field, value, message):
    body = json.loads(made.call(outline=made.OUTLINE).to_body()) | {field: value}
    with pytest.raises(LedgerError, match=f"^fact 'call': {message}") as refused:
        facts.SavedCall.from_body(json.dumps(body), "0" * 32)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("record", {"share": math.nan}, "record holds a number that is not finite"),
        ("record", {"share": [1, -math.inf]}, "record holds a number that is not finite"),
        ("record", nested(23), None),
        ("record", nested(24), "record is nested deeper than 24"),
        ("record", {"when": object()}, "record holds a object, which is no JSON"),
        ("record", {1: 2}, "record holds a key that is no text"),
        ("record", [], "record must be a JSON object"),
        ("stones", {"one": {}}, "stones must be a whole number"),
        ("stones", {0: {}}, "stones must be a whole number"),
        ("pictures", {1: {"sheet": 5}}, "pictures must be text"),
        ("line_words", ["x"], "line_words must be 32 hexadecimal"),
        ("measurement_version", -1, "measurement_version must be a whole number"),
    ],
)
def test_a_measurement_is_checked_to_its_depth(made, field, value, message):
    fields = {
        name: getattr(made.measured(), name) for name in Measured.__annotations__ if name != "uid"
    }
    if message is None:
        Measured(**(fields | {field: value}))
        return
    with pytest.raises(LedgerError, match=f"^fact 'measured': {message}"):
        Measured(**(fields | {field: value}))


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda m: facts.SavedCall(m.LAKE, "p", 1, m.BOX), "says nothing"),
        (lambda m: facts.ResortBegun((), ()), "holds no stone"),
        (lambda m: facts.ResortBegun((facts.FacePlace(m.LAKE, 1, m.BOX),), ()), "1 stones, 0 grades"),
        (lambda m: facts.PhotoFile(m.LAKE, "p", "photos/p.jpg", 1, 1), "path must be a whole path"),
        (lambda m: facts.SeasonBegun("spring", "1 March"), "begins must be a date"),
        (lambda m: facts.SeasonBegun("spring", 5), "begins must be a date"),
        (lambda m: facts.Compared({"sha256": "x"}, {}), "FacePlace: piece_id is missing"),
        (lambda m: facts.SavedLineWord(m.LAKE, "p", 1, m.BOX, 1, ((1, 1), (2, 2)), "unsaid"), "says must"),
        (lambda m: facts.ModelUse("models/mine", "m"), "folder must be a whole path"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_no_fact(made, make, message):
    with pytest.raises(LedgerError, match=message):
        make(made)


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("{", "its text is no JSON"),
        ("[" * 100_000, "its text is no JSON"),
        ("[]", "must be a JSON object"),
        ('{"call":"%s","why":1}' % ("0" * 32), "'why' is unknown; a newer version may know it"),
        ("{}", "call is missing"),
    ],
)
def test_text_that_holds_no_fact_is_refused(body, message):
    with pytest.raises(LedgerError, match=f"^fact 'taken_back': {message}"):
        read_fact("taken_back", body, "0" * 32)


def test_an_unknown_kind_is_refused():
    with pytest.raises(LedgerError, match="fact 'weather' is unknown"):
        read_fact("weather", "{}", "0" * 32)


def test_a_body_is_bounded(made, monkeypatch):
    monkeypatch.setattr(facts, "MOST_BODY", 100)
    with pytest.raises(LedgerError, match="too many to keep"):
        made.call(note="x" * 100).to_body()
    with pytest.raises(LedgerError, match="too many to read"):
        read_fact("call", "x" * 101, "0" * 32)


@pytest.mark.parametrize("time", ["2025-03-01", "2025-03-01T09:30:00", "now", None, ""])
def test_a_time_without_offset_is_refused(time):
    with pytest.raises(LedgerError, match=r"^time "):
        checked_time(time)


def test_a_time_is_kept_as_it_was_told():
    assert checked_time("2025-03-01T09:30:00+05:45") == "2025-03-01T09:30:00+05:45"
    assert checked_time("2025-03-01T09:30:00Z") == "2025-03-01T09:30:00+00:00"


@pytest.mark.parametrize("author", ["", 5, "x" * 1001, "A\0"])
def test_a_name_that_cannot_be_kept_is_refused(author):
    with pytest.raises(LedgerError, match=r"^name of who says it: "):
        checked_author(author)
