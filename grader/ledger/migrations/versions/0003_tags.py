"""The table of tags that were printed before there were pieces."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_table(
        "tags",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("act", sa.Text(), nullable=False, comment="of the command that it was done with"),
        sa.Column(
            "code",
            sa.Text(),
            nullable=False,
            comment="of the haul, as 07, which may not be there yet",
        ),
        sa.Column("first", sa.Integer(), nullable=False, comment="number of a tag"),
        sa.Column("last", sa.Integer(), nullable=False, comment="number of a tag"),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_tags_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_tags")),
        comment="tags printed before there were pieces; their numbers go to no other",
    )
    op.create_index(op.f("ix_tags_code"), "tags", ["code"], unique=False)
