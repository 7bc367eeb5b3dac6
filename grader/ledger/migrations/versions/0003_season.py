"""Printed tags, bins with numbers, parts of sales that come back, what is held for somebody, costs, typed limits."""

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
        sa.Column("sale", sa.Text(), nullable=False, comment="it is of"),
        sa.Column("bin", sa.Text(), nullable=False, comment="it came out of"),
        sa.Column("net_g", sa.Text(), nullable=False, comment="g, decimal number"),
        sa.ForeignKeyConstraint(["bin"], ["rest.uid"], name=op.f("fk_from_bin_bin")),
        sa.ForeignKeyConstraint(["sale"], ["sale.uid"], name=op.f("fk_from_bin_sale")),
        sa.PrimaryKeyConstraint("sale", "bin", name=op.f("pk_from_bin")),
        comment="what was sold out of bins",
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


def _deed() -> list[sa.Column]:
    return [
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("act", sa.Text(), nullable=False),
    ]


def _keys(table: str) -> list[sa.Constraint]:
    return [
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f(f"fk_{table}_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f(f"pk_{table}")),
    ]
