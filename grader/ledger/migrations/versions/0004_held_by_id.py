"""For whom a thing is held: by the id of a buyer, whose name can be erased."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    # Made anew, so that the column stands before the constraints as in a new ledger.
    with op.batch_alter_table("reserved", recreate="always") as reserved:
        reserved.add_column(sa.Column("buyer", sa.Text(), nullable=True))
    op.create_index(op.f("ix_reserved_buyer"), "reserved", ["buyer"], unique=False)
