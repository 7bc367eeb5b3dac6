"""Indexes that hold all that a list of ten thousand pieces asks for: the rows, with their outlines, are not read."""

from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    op.create_index(
        "ix_call_heard", "call", ["sha256", "sequence", "author", "time", "grade", "box", "uid"]
    )
    op.create_index("ix_face_place", "face", ["piece", "sha256", "box"])
    op.create_index("ix_stone_size", "stone", ["measured", "area_cm2", "size_class", "box"])
