"""For whom a thing is held: by the id of a buyer, whose name can be erased. How large faces are, beside their facts."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    # Made anew, so that the column stands before the constraints as in a new ledger.
    with op.batch_alter_table("reserved", recreate="always") as reserved:
        reserved.add_column(sa.Column("buyer", sa.Text(), nullable=True))
    op.create_index(op.f("ix_reserved_buyer"), "reserved", ["buyer"], unique=False)
    with op.batch_alter_table("stone", recreate="always") as stone:
        stone.add_column(sa.Column("area_cm2", sa.Float(), nullable=True), insert_after="box")
        stone.add_column(sa.Column("size_class", sa.Text(), nullable=True), insert_after="area_cm2")
    op.execute(
        "update stone set area_cm2 = json_extract(facts, '$.features.area_cm2'), "
        "size_class = json_extract(facts, '$.size_class')"
    )
