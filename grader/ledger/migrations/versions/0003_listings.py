"""Tables of listings and of what the seller says beside them; names of buyers, apart from the facts."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def _deed() -> list[sa.Column]:
    return [
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
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


def upgrade() -> None:
    op.create_table(
        "described",
        *_deed(),
        sa.Column("thing", sa.Text(), nullable=False, comment="uid of the piece, lot or haul"),
        sa.Column("what", sa.Text(), nullable=False, comment="treatment, polish and so on"),
        sa.Column(
            "says", sa.Text(), nullable=True, comment="the seller's own words; null takes them back"
        ),
        *_keys("described", thing="fact.uid"),
        comment="what the seller says that no photo shows; the last word counts",
    )
    op.create_index(op.f("ix_described_thing"), "described", ["thing"], unique=False)
    op.create_table(
        "listing",
        *_deed(),
        sa.Column("thing", sa.Text(), nullable=False, comment="uid of the piece or lot"),
        sa.Column("price", sa.Text(), nullable=True, comment="asked then, decimal number"),
        sa.Column("currency", sa.Text(), nullable=True, comment="of the price"),
        sa.Column("price_table", sa.Text(), nullable=True, comment="that held then"),
        sa.Column("snapshot", sa.JSON(), nullable=False, comment="all that was told of it then"),
        *_keys("listing", thing="fact.uid", price_table="fact.uid"),
        comment="listings; the last one of a thing counts",
    )
    op.create_index(op.f("ix_listing_thing"), "listing", ["thing"], unique=False)
    op.create_table(
        "withdrawn",
        *_deed(),
        sa.Column("listing", sa.Text(), nullable=False, comment="that is taken down"),
        *_keys("withdrawn", listing="listing.uid"),
        comment="listings taken down",
    )
    op.create_index(op.f("ix_withdrawn_listing"), "withdrawn", ["listing"], unique=False)
    op.create_table(
        "erased_buyer",
        *_deed()[:2],
        sa.Column("buyer", sa.Text(), nullable=False, comment="id of the buyer whose name is gone"),
        *_keys("erased_buyer"),
        comment="buyers whose names were erased",
    )
    op.create_index(op.f("ix_erased_buyer_buyer"), "erased_buyer", ["buyer"], unique=False)
    op.create_table(
        "buyer_name",
        sa.Column("buyer", sa.Text(), nullable=False, comment="id of the buyer"),
        sa.Column("name", sa.Text(), nullable=False, comment="as typed"),
        sa.PrimaryKeyConstraint("buyer", name=op.f("pk_buyer_name")),
        comment="names of buyers, kept apart from facts so that they can be erased",
    )
    # Made anew, so that the column stands where the schema has it.
    with op.batch_alter_table("sale", recreate="always") as sale:
        sale.add_column(
            sa.Column(
                "buyer",
                sa.Text(),
                nullable=True,
                comment="who bought, by an id; the name stands apart",
            )
        )
    op.create_index(op.f("ix_sale_buyer"), "sale", ["buyer"], unique=False)
