"""``grader check`` names called stones beside one that the model does not know: none of the made-up ones."""

import hashlib
import json

import jsonschema
import pytest

from grader.report.result import result_schema


@pytest.fixture
def nearest(cli):
    """Called stones that are told with each stone of a photo, as (file, number)."""

    def told(photo):
        record = json.loads(cli.run("check", photo, "--json").stdout)
        jsonschema.validate(record, result_schema())
        assert all(piece["proposal"]["unfamiliar"] for piece in record["pieces"])
        return [[(n["file"], n["piece"]) for n in piece["nearest"]] for piece in record["pieces"]]

    return told


def call(cli, photo, piece):
    assert cli.run("call", photo, "--piece", piece, "--grade", "select").exit_code == 0


@pytest.mark.slow
def test_only_the_called_stones_are_told_and_never_the_stone_itself(cli, nearest):
    called, new = cli.photo("tub.jpg", "2"), cli.photo("new.jpg", "1")
    assert nearest(new) == [[]]
    call(cli, called, 2)
    assert nearest(new) == [[("tub.jpg", 2)]]
    assert nearest(called) == [[("tub.jpg", 2)], []]


@pytest.mark.slow
def test_the_table_tells_them_with_more_alone_and_three_at_most(cli, nearest):
    tub, new = cli.photo("tub.jpg", "4"), cli.photo("new.jpg", "1")
    for piece in (1, 2, 3, 4):
        call(cli, tub, piece)
    assert [len(told) for told in nearest(new)] == [3]
    more = cli.run("check", new, "--more").stdout
    assert "  nearest       of those called: tub.jpg stone 1, tub.jpg stone 2, tub.jpg st" in more
    assert "nearest" not in cli.run("check", new).stdout


def test_a_call_that_was_taken_back_tells_nothing(cli, nearest):
    tub, new = cli.photo("tub.jpg", "1"), cli.photo("new.jpg", "2")
    call(cli, tub, 1)
    record = json.loads(cli.run("check", new, "--json").stdout)
    content = hashlib.sha256(b"1").hexdigest()
    assert record["pieces"][1]["nearest"] == [{"file": "tub.jpg", "sha256": content, "piece": 1}]
    assert cli.run("call", tub, "--piece", 1, "--undo").exit_code == 0
    assert nearest(new) == [[], []]
