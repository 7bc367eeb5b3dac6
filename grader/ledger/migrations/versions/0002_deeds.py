"""Tables of what is done with stone once it is dug."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "deed",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("author", sa.Text(), nullable=True, comment="who said it, name as typed"),
        sa.Column("time", sa.Text(), nullable=False, comment="ISO 8601 with offset"),
        sa.Column("kind", sa.Text(), nullable=False, comment="what kind of fact it is"),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_deed_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_deed")),
        comment="what was done with stone once it was dug",
    )
    op.create_index(op.f("ix_deed_act"), "deed", ["act"], unique=False)
    op.create_index("ix_deed_author", "deed", ["author", "sequence"], unique=False)
    op.create_table(
        "sale",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
        sa.Column("price", sa.Text(), nullable=False, comment="of all together, decimal number"),
        sa.Column("currency", sa.Text(), nullable=False, comment="of the price"),
        sa.Column("price_table", sa.Text(), nullable=True, comment="that held then"),
        sa.Column(
            "snapshot",
            sa.JSON(none_as_null=True),
            nullable=False,
            comment="what was told of each thing then",
        ),
        sa.ForeignKeyConstraint(["price_table"], ["fact.uid"], name=op.f("fk_sale_price_table")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_sale_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_sale")),
        comment="sales; what was sold stands in about",
    )
    op.create_table(
        "sellers_table",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
        sa.Column("what", sa.Text(), nullable=False, comment="prices or boxes"),
        sa.Column("begins", sa.Text(), nullable=False, comment="day from which it holds, ISO date"),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_sellers_table_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_sellers_table")),
        comment="tables of the seller's own, each from its day on",
    )
    op.create_table(
        "trip",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
        sa.Column("number", sa.Integer(), nullable=False, comment="by which it is called"),
        sa.Column("name", sa.Text(), nullable=False, comment="as typed"),
        sa.Column("begins", sa.Text(), nullable=False, comment="ISO date"),
        sa.Column("spot", sa.Text(), nullable=True, comment="where on the claim, coarse"),
        sa.Column("seam", sa.Text(), nullable=True, comment="as typed"),
        sa.Column("hours", sa.Text(), nullable=True, comment="of digging, decimal number"),
        sa.Column("hands", sa.Integer(), nullable=True, comment="people who dug"),
        sa.Column(
            "target_g", sa.Text(), nullable=True, comment="weight to bring home, g, decimal number"
        ),
        sa.Column(
            "right", sa.Text(), nullable=True, comment="what the seller noted of his right to dig"
        ),
        sa.Column(
            "place", sa.Text(), nullable=True, comment="the exact place, for the seller alone"
        ),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_trip_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_trip")),
        comment="trips to dig",
    )
    op.create_index(op.f("ix_trip_number"), "trip", ["number"], unique=False)
    op.create_table(
        "undone",
        sa.Column("act", sa.Text(), nullable=False, comment="that is taken back"),
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact that takes it back"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_undone_uid")),
        sa.PrimaryKeyConstraint("act", name=op.f("pk_undone")),
        comment="acts taken back; their deeds stay in their tables",
    )
    op.create_table(
        "weighed",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
        sa.Column("thing", sa.Text(), nullable=False, comment="uid of the piece or lot"),
        sa.Column("typed", sa.Text(), nullable=False, comment="weight as typed"),
        sa.Column(
            "net_g",
            sa.Text(),
            nullable=False,
            comment="the same less the container, g, decimal number",
        ),
        sa.Column("wet", sa.Integer(), nullable=False, comment="1 for wet stone"),
        sa.Column("guessed", sa.Integer(), nullable=False, comment="1 for a guess"),
        sa.ForeignKeyConstraint(["thing"], ["fact.uid"], name=op.f("fk_weighed_thing")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_weighed_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_weighed")),
        comment="what pieces and lots weigh; the last one counts",
    )
    op.create_index(op.f("ix_weighed_thing"), "weighed", ["thing"], unique=False)
    op.create_table(
        "about",
        sa.Column("deed", sa.Text(), nullable=False, comment="uid of the deed"),
        sa.Column(
            "thing", sa.Text(), nullable=False, comment="uid of what it made or was done with"
        ),
        sa.ForeignKeyConstraint(["deed"], ["deed.uid"], name=op.f("fk_about_deed")),
        sa.ForeignKeyConstraint(["thing"], ["fact.uid"], name=op.f("fk_about_thing")),
        sa.PrimaryKeyConstraint("deed", "thing", name=op.f("pk_about")),
        comment="what each deed speaks of",
    )
    op.create_index(op.f("ix_about_thing"), "about", ["thing"], unique=False)
    op.create_table(
        "broken",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
        sa.Column("piece", sa.Text(), nullable=False, comment="that was broken"),
        sa.Column(
            "loss_g", sa.Text(), nullable=True, comment="what was lost by it, g, decimal number"
        ),
        sa.ForeignKeyConstraint(["piece"], ["piece.uid"], name=op.f("fk_broken_piece")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_broken_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_broken")),
        comment="pieces broken; the parts have them as parents",
    )
    op.create_index(op.f("ix_broken_piece"), "broken", ["piece"], unique=False)
    op.create_table(
        "haul",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
        sa.Column("code", sa.Text(), nullable=False, comment="by which it is called, as 07"),
        sa.Column("trip", sa.Text(), nullable=True, comment="that brought it"),
        sa.Column(
            "raw_typed", sa.Text(), nullable=False, comment="weight out of the ground, as typed"
        ),
        sa.Column("raw_g", sa.Text(), nullable=False, comment="the same in g, decimal number"),
        sa.ForeignKeyConstraint(["trip"], ["trip.uid"], name=op.f("fk_haul_trip")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_haul_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_haul")),
        comment="what trips brought home",
    )
    op.create_index(op.f("ix_haul_code"), "haul", ["code"], unique=False)
    op.create_table(
        "returned",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
        sa.Column("sale", sa.Text(), nullable=False, comment="that came back"),
        sa.Column("refund", sa.Text(), nullable=False, comment="money given back, decimal number"),
        sa.Column("why", sa.Text(), nullable=True, comment="as typed"),
        sa.ForeignKeyConstraint(["sale"], ["sale.uid"], name=op.f("fk_returned_sale")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_returned_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_returned")),
        comment="sales that came back",
    )
    op.create_index(op.f("ix_returned_sale"), "returned", ["sale"], unique=False)
    op.create_table(
        "lot",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
        sa.Column("haul", sa.Text(), nullable=False, comment="which it is of"),
        sa.Column("number", sa.Integer(), nullable=False, comment="in its haul"),
        sa.Column("grade", sa.Text(), nullable=True, comment="of its pieces"),
        sa.Column(
            "size_g",
            sa.Text(),
            nullable=False,
            comment="least weight that was asked for, g, decimal number",
        ),
        sa.ForeignKeyConstraint(["haul"], ["haul.uid"], name=op.f("fk_lot_haul")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_lot_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_lot")),
        comment="lots made up; their pieces stand in about",
    )
    op.create_index(op.f("ix_lot_haul"), "lot", ["haul"], unique=False)
    op.create_table(
        "numbered",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
        sa.Column("piece", sa.Text(), nullable=False, comment="that bears the number"),
        sa.Column("haul", sa.Text(), nullable=False, comment="which it is of"),
        sa.Column("number", sa.Integer(), nullable=False, comment="in its haul"),
        sa.ForeignKeyConstraint(["haul"], ["haul.uid"], name=op.f("fk_numbered_haul")),
        sa.ForeignKeyConstraint(["piece"], ["piece.uid"], name=op.f("fk_numbered_piece")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_numbered_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_numbered")),
        comment="numbers of pieces; one is never given twice",
    )
    op.create_index("ix_numbered_code", "numbered", ["haul", "number"], unique=False)
    op.create_index(op.f("ix_numbered_piece"), "numbered", ["piece"], unique=False)
    op.create_table(
        "rest",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
        sa.Column("haul", sa.Text(), nullable=False, comment="which it is of"),
        sa.Column(
            "what", sa.Text(), nullable=False, comment="waste, chips, sorted stone and so on"
        ),
        sa.Column("grade", sa.Text(), nullable=True, comment="of sorted stone"),
        sa.Column("typed", sa.Text(), nullable=False, comment="weight as typed"),
        sa.Column("net_g", sa.Text(), nullable=False, comment="the same in g, decimal number"),
        sa.Column("guessed", sa.Integer(), nullable=False, comment="1 for a guess"),
        sa.Column("piece", sa.Text(), nullable=True, comment="numbered one that it was"),
        sa.ForeignKeyConstraint(["haul"], ["haul.uid"], name=op.f("fk_rest_haul")),
        sa.ForeignKeyConstraint(["piece"], ["piece.uid"], name=op.f("fk_rest_piece")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_rest_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_rest")),
        comment="parts of hauls that are no pieces for sale",
    )
    op.create_index(op.f("ix_rest_haul"), "rest", ["haul"], unique=False)
    op.create_index(op.f("ix_rest_piece"), "rest", ["piece"], unique=False)
