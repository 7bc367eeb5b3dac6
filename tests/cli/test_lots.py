"""``grader lots`` and ``grader chips``: from a table of weights and a bucket, without a photo."""

import json

import pytest
from typer.testing import CliRunner


@pytest.fixture
def run(tmp_path, monkeypatch):
    from grader.cli.main import app

    monkeypatch.chdir(tmp_path)

    def run(*args):
        return CliRunner().invoke(app, list(args))

    return run


@pytest.fixture
def weights(tmp_path):
    def write(*rows):
        lines = "\n".join(["piece;weight", *rows])
        (tmp_path / "weights.csv").write_text("\ufeff" + lines, "utf-8")

    return write


def test_lots_are_none_short_whatever_the_unit(run, weights):
    weights("07-001;212 g", "07-002;0,3 kg", "07-003;310", "07-004;1.1 lb", "07-005;190")
    made = run("lots", "make", "--from", "weights.csv", "--size", "1lb", "--json")
    assert made.exit_code == 0, made.output
    record = json.loads(made.output)
    # A pound is 453.59 g (agreement of 1959): a lot of 453 g would be short.
    assert record["size_g"] == 454
    assert all(lot["grams"] >= 454 for lot in record["lots"])
    assert len(record["lots"]) == record["most"] == 3
    told = run("lots", "make", "--from", "weights.csv", "--size", "1lb").output
    assert "3 lots of 454 g, no way gives more" in told
    assert "Weigh each finished lot" in told


def test_lots_keep_to_a_number_of_pieces(run, weights):
    weights(*(f"{n};100" for n in range(12)))
    made = run(
        "lots", "make", "--from", "weights.csv", "--size", "150 g", "--fewest", "3", "--json"
    )
    assert {len(lot["pieces"]) for lot in json.loads(made.output)["lots"]} == {3}


@pytest.mark.parametrize(
    ("rows", "problem"),
    [
        (["a;heavy"], "line 2"),
        (["a;100", "a;200"], "line 3: 'a' stands there twice"),
        (["a;100", ";200"], "line 3: no piece is named"),
        (["a;0"], "line 2: 'a' weighs nothing"),
        (["a;1,500"], "line 2"),
    ],
)
def test_a_row_that_cannot_be_is_named(run, weights, rows, problem):
    weights(*rows)
    refused = run("lots", "make", "--from", "weights.csv", "--size", "500g")
    assert refused.exit_code == 1
    assert problem in refused.output
    assert refused.output.count("\n") == 1


def test_a_bucket_of_chips_gives_bags_and_a_rest(run, weights):
    weights("1;500", "2;501.5", "3;499")
    bags = run(
        "chips", "--gross", "9.4kg", "--tare", "0.8kg", "--bag", "500g", "--packed", "weights.csv"
    )
    assert bags.exit_code == 0, bags.output
    assert "17 bags of 500 g from 8600 g net, 100 g left" in bags.output
    assert "15 g" in bags.output  # Directive 76/211/EEC, Annex I
    assert "3 weighed: 500.2 g on average" in bags.output
    assert "they hold it" in bags.output


def test_a_bucket_heavier_empty_than_full_is_refused(run):
    refused = run("chips", "--gross", "1kg", "--tare", "2kg", "--bag", "500g")
    assert refused.exit_code == 2
    assert "--tare" in refused.output


def test_a_piece_far_heavier_than_the_lot_is_told(run, weights):
    # 760 g give away more than half of 500 g, 740 g less.
    weights("07-001;760", "07-002;740", "07-003;250", "07-004;250")
    told = run("lots", "make", "--from", "weights.csv", "--size", "500g").output
    assert "07-001: alone in a lot and half as heavy again as it, or more" in told
    assert "07-002: alone" not in told and "07-001, " not in told
