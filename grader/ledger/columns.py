"""What the tables of the ledger are made of: their names' rules, and columns that many have."""

from sqlalchemy import JSON, Column, Float, ForeignKey, Integer, MetaData, Text

metadata = MetaData(
    # SQLite can only change what has a name.
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def text(name: str, comment: str, *more, **kw) -> Column:
    """Return a column of text that every row has."""
    return Column(name, Text, *more, comment=comment, nullable=kw.pop("nullable", False), **kw)


def maybe(name: str, comment: str, *more, **kw) -> Column:
    """Return a column of text that a row may lack."""
    return text(name, comment, *more, nullable=True, **kw)


def whole(name: str, comment: str, **kw) -> Column:
    """Return a column of whole numbers."""
    return Column(name, Integer, comment=comment, nullable=kw.pop("nullable", False), **kw)


def real(name: str, comment: str) -> Column:
    """Return a column of measured numbers that a row may lack."""
    return Column(name, Float, comment=comment, nullable=True)


def json(name: str, comment: str, *, nullable: bool = True) -> Column:
    """Return a column of JSON."""
    return Column(name, JSON(none_as_null=True), comment=comment, nullable=nullable)


def sequence() -> Column:
    """Return the column of the order of facts."""
    return whole("sequence", "of the fact, which is the order of all that counts")


def uid() -> Column:
    """Return the column of a fact's uid, the key of its table."""
    return text("uid", "of the fact", ForeignKey("fact.uid"), primary_key=True)


def author_and_time() -> list[Column]:
    """Who said it and when, as with the fact."""
    return [maybe("author", "who said it, name as typed"), text("time", "ISO 8601 with offset")]


def sha256(**kw) -> Column:
    """Return the column of a photo's content."""
    return text("sha256", "hash of the photo's content", **kw)


def stone_place(prefix: str = "", *, index: bool = True) -> list[Column]:
    """Where a stone was seen: its photo, its number there then, box and outline in px of that photo."""
    return [
        text(f"{prefix}sha256", "hash of the photo's content", index=index),
        whole(f"{prefix}piece_id", "number of the stone on that photo then"),
        json(f"{prefix}box", "x, y, width and height in px of the photo", nullable=False),
        json(f"{prefix}outline", "x, y of each point in px of the photo"),
    ]
