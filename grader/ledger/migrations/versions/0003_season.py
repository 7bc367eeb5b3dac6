"""Printed tags, bins, parts of sales that come back, what is held, costs, typed limits, listings, names of buyers."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    # Made anew, so that columns stand before constraints as in a new ledger.
    with op.batch_alter_table("haul", recreate="always") as haul:
        haul.add_column(sa.Column("guess", sa.Text(), nullable=True))
    with op.batch_alter_table("rest", recreate="always") as rest:
        rest.add_column(sa.Column("number", sa.Integer(), nullable=True))
        rest.add_column(sa.Column("sample", sa.JSON(none_as_null=True), nullable=True))
    with op.batch_alter_table("returned", recreate="always") as returned:
        returned.add_column(sa.Column("part", sa.Integer(), nullable=True))
        returned.add_column(sa.Column("stays", sa.Integer(), nullable=True))
    op.create_table(
        "from_bin",
        sa.Column("sale", sa.Text(), nullable=False),
        sa.Column("bin", sa.Text(), nullable=False),
        sa.Column("net_g", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["bin"], ["rest.uid"], name=op.f("fk_from_bin_bin")),
        sa.ForeignKeyConstraint(["sale"], ["sale.uid"], name=op.f("fk_from_bin_sale")),
        sa.PrimaryKeyConstraint("sale", "bin", name=op.f("pk_from_bin")),
    )
    op.create_index(op.f("ix_from_bin_bin"), "from_bin", ["bin"], unique=False)
    op.create_table(
        "reserved",
        *_deed(),
        sa.Column("until", sa.Text(), nullable=True),
        sa.Column("whom", sa.Text(), nullable=True),
        *_keys("reserved"),
    )
    op.create_table(
        "cost",
        *_deed(),
        sa.Column("trip", sa.Text(), nullable=False),
        sa.Column("money", sa.Text(), nullable=False),
        sa.Column("currency", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["trip"], ["trip.uid"], name=op.f("fk_cost_trip")),
        *_keys("cost"),
    )
    op.create_index(op.f("ix_cost_trip"), "cost", ["trip"], unique=False)
    op.create_table(
        "seller_limit",
        *_deed(),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("most_typed", sa.Text(), nullable=False),
        sa.Column("most_g", sa.Text(), nullable=False),
        sa.Column("each", sa.Text(), nullable=False),
        sa.Column("begins", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        *_keys("seller_limit"),
    )
    op.create_table(
        "tags",
        *_deed(),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("first", sa.Integer(), nullable=False),
        sa.Column("last", sa.Integer(), nullable=False),
        *_keys("tags"),
    )
    op.create_index(op.f("ix_tags_code"), "tags", ["code"], unique=False)
    _listings()
    _buyers()


def _listings() -> None:
    op.create_table(
        "described",
        *_deed(),
        sa.Column("thing", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("says", sa.Text(), nullable=True),
        *_keys("described", thing="fact.uid"),
    )
    op.create_index(op.f("ix_described_thing"), "described", ["thing"], unique=False)
    op.create_table(
        "listing",
        *_deed(),
        sa.Column("thing", sa.Text(), nullable=False),
        sa.Column("price", sa.Text(), nullable=True),
        sa.Column("currency", sa.Text(), nullable=True),
        sa.Column("price_table", sa.Text(), nullable=True),
        sa.Column("snapshot", sa.JSON(), nullable=False),
        *_keys("listing", thing="fact.uid", price_table="fact.uid"),
    )
    op.create_index(op.f("ix_listing_thing"), "listing", ["thing"], unique=False)
    op.create_table(
        "withdrawn",
        *_deed(),
        sa.Column("listing", sa.Text(), nullable=False),
        *_keys("withdrawn", listing="listing.uid"),
    )
    op.create_index(op.f("ix_withdrawn_listing"), "withdrawn", ["listing"], unique=False)


def _buyers() -> None:
    op.create_table(
        "erased_buyer",
        *_deed()[:2],
        sa.Column("buyer", sa.Text(), nullable=False),
        *_keys("erased_buyer"),
    )
    op.create_index(op.f("ix_erased_buyer_buyer"), "erased_buyer", ["buyer"], unique=False)
    op.create_table(
        "buyer_name",
        sa.Column("buyer", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("buyer", name=op.f("pk_buyer_name")),
    )
    # Made anew, so that the column stands where the schema has it.
    with op.batch_alter_table("sale", recreate="always") as sale:
        sale.add_column(
            sa.Column(
                "buyer",
                sa.Text(),
                nullable=True,
            )
        )
    op.create_index(op.f("ix_sale_buyer"), "sale", ["buyer"], unique=False)


def _deed() -> list[sa.Column]:
    return [
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("act", sa.Text(), nullable=False),
    ]


def _keys(table: str, **points: str) -> list[sa.Constraint]:
    """The key of a deed's table, and what its columns point to."""
    points = {"uid": "fact.uid"} | points
    return [
        *(
            sa.ForeignKeyConstraint([column], [to], name=op.f(f"fk_{table}_{column}"))
            for column, to in points.items()
        ),
        sa.PrimaryKeyConstraint("uid", name=op.f(f"pk_{table}")),
    ]
