"""A buyer's name can be erased: it is gone from every byte of the ledger's files, and the money stays."""

from decimal import Decimal

import pytest

from grader.ledger import buyers, deeds
from grader.ledger.backup import backup, daily_copy
from grader.ledger.merge import take_in
from grader.ledger.store import open_ledger

NAME = "Zebulon Quist-Invented"


def sale(ledger, name=NAME, price="38"):
    """Sell a lot of a piece to that buyer."""

    def decide(reads):
        from grader.ledger.facts import NamedPiece

        piece, haul = NamedPiece(), deeds.HaulBrought("07", deeds.TypedWeight("9", "9"))
        lot = deeds.LotMade(haul.uid, 1, "5", (piece.uid,))
        things = {"things": [{"code": "07-L1", "net_g": "500"}]}
        sold = deeds.Sold((lot.uid,), price, "USD", things, buyer=buyers.buyer_called(reads, name))
        return [piece, haul, lot, sold]

    ledger.act(decide)


def files_with(folder, name=NAME):
    return [p.name for p in folder.rglob("*") if p.is_file() and name.encode() in p.read_bytes()]


def test_the_name_is_gone_from_every_file_and_the_sale_stays(ledger, path):
    sale(ledger)
    sale(ledger, price="12.50")
    daily_copy(ledger)
    assert len(files_with(path.parent)) >= 2
    (one,) = buyers.buyers(ledger)
    assert (one.name, len(one.sales)) == (NAME, 2)
    assert buyers.erase(ledger, NAME, "Ann") == 1
    assert files_with(path.parent) == []
    (left,) = buyers.buyers(ledger)
    assert (left.uid, left.name) == (one.uid, None)
    assert sum(s.price for s in left.sales) == Decimal("50.50")
    assert left.sales[0].snapshot["things"][0]["net_g"] == "500"


def test_replay_does_not_bring_a_name_back_nor_lose_one(ledger):
    sale(ledger)
    sale(ledger, "Other Buyer")
    buyers.erase(ledger, NAME, None)
    ledger.replay()
    assert set(buyers.names(ledger).values()) == {"Other Buyer"}
    assert len(buyers.buyers(ledger)) == 2


def test_a_name_that_nobody_bears_erases_nothing(ledger):
    sale(ledger)
    assert buyers.erase(ledger, "Nobody", None) == 0
    assert list(buyers.names(ledger).values()) == [NAME]


def test_one_that_buys_again_after_it_was_erased_is_a_new_one(ledger):
    sale(ledger)
    buyers.erase(ledger, NAME, None)
    sale(ledger)
    assert sorted(str(b.name) for b in buyers.buyers(ledger)) == ["None", NAME]


def test_another_ledger_does_not_bring_an_erased_name_back(ledger, path, tmp_path):
    sale(ledger)
    backup(ledger, tmp_path / "b.zip")
    from grader.ledger.backup import restore

    restore(tmp_path / "b.zip", tmp_path / "other" / "ledger.sqlite")
    buyers.erase(ledger, NAME, None)
    take_in(ledger, tmp_path / "other" / "ledger.sqlite")
    assert buyers.names(ledger) == {}
    assert files_with(path.parent) == []
    # And the other way: what was erased here is erased there.
    with open_ledger(tmp_path / "other" / "ledger.sqlite") as other:
        assert list(buyers.names(other).values()) == [NAME]
        take_in(other, path)
        assert buyers.names(other) == {}
        assert files_with(other.path.parent) == []


def test_names_come_with_another_ledger(ledger, path, tmp_path):
    with open_ledger(tmp_path / "other" / "ledger.sqlite") as other:
        sale(other)
    take_in(ledger, tmp_path / "other" / "ledger.sqlite")
    assert list(buyers.names(ledger).values()) == [NAME]


@pytest.mark.parametrize("name", ["", "x" * 2000, "a\0b"])
def test_a_name_that_cannot_be_kept_is_refused(ledger, name):
    from grader.errors import LedgerError

    with pytest.raises(LedgerError):
        sale(ledger, name)
    assert buyers.names(ledger) == {}
