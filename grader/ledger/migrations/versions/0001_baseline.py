"""The first tables: one statement a table and so longer than other modules; never edited once it was released."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "fact",
        sa.Column(
            "sequence", sa.Integer(), nullable=False, comment="order of adding; gaps mean nothing"
        ),
        sa.Column(
            "uid",
            sa.Text(),
            nullable=False,
            comment="name of the fact in every ledger, 32 hexadecimal digits",
        ),
        sa.Column("kind", sa.Text(), nullable=False, comment="what kind of fact it is"),
        sa.Column("author", sa.Text(), nullable=True, comment="who said it, name as typed"),
        sa.Column("time", sa.Text(), nullable=False, comment="ISO 8601 with offset"),
        sa.Column("body", sa.Text(), nullable=False, comment="what it tells, one JSON object"),
        sa.CheckConstraint("json_valid(body)", name=op.f("ck_fact_json")),
        sa.PrimaryKeyConstraint("sequence", name=op.f("pk_fact")),
        sa.UniqueConstraint("uid", name=op.f("uq_fact_uid")),
        comment="what happened; rows are only ever added",
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_fact_kind"), "fact", ["kind"], unique=False)
    op.create_table(
        "photo",
        sa.Column("sha256", sa.Text(), nullable=False, comment="hash of the photo's content"),
        sa.Column("path", sa.Text(), nullable=False, comment="where it lay, from the root on"),
        sa.Column("name", sa.Text(), nullable=False, comment="its file name"),
        sa.Column("width", sa.Integer(), nullable=False, comment="px, upright"),
        sa.Column("height", sa.Integer(), nullable=False, comment="px, upright"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.PrimaryKeyConstraint("sha256", "path", name=op.f("pk_photo")),
        comment="photos by content and place; the last place seen has the highest sequence",
    )
    op.create_index(op.f("ix_photo_path"), "photo", ["path"], unique=False)
    op.create_table(
        "comparison",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("author", sa.Text(), nullable=True, comment="who said it, name as typed"),
        sa.Column("time", sa.Text(), nullable=False, comment="ISO 8601 with offset"),
        sa.Column(
            "better_sha256", sa.Text(), nullable=False, comment="hash of the photo's content"
        ),
        sa.Column(
            "better_piece_id",
            sa.Integer(),
            nullable=False,
            comment="number of the stone on that photo then",
        ),
        sa.Column(
            "better_box",
            sa.JSON(none_as_null=True),
            nullable=False,
            comment="x, y, width and height in px of the photo",
        ),
        sa.Column(
            "better_outline",
            sa.JSON(none_as_null=True),
            nullable=True,
            comment="x, y of each point in px of the photo",
        ),
        sa.Column("other_sha256", sa.Text(), nullable=False, comment="hash of the photo's content"),
        sa.Column(
            "other_piece_id",
            sa.Integer(),
            nullable=False,
            comment="number of the stone on that photo then",
        ),
        sa.Column(
            "other_box",
            sa.JSON(none_as_null=True),
            nullable=False,
            comment="x, y, width and height in px of the photo",
        ),
        sa.Column(
            "other_outline",
            sa.JSON(none_as_null=True),
            nullable=True,
            comment="x, y of each point in px of the photo",
        ),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_comparison_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_comparison")),
        comment="of two faces the better one",
    )
    op.create_index(
        op.f("ix_comparison_better_sha256"), "comparison", ["better_sha256"], unique=False
    )
    op.create_index(
        op.f("ix_comparison_other_sha256"), "comparison", ["other_sha256"], unique=False
    )
    op.create_table(
        "measured",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("sha256", sa.Text(), nullable=False, comment="hash of the photo's content"),
        sa.Column(
            "key",
            sa.Text(),
            nullable=False,
            comment="hash of the terms and of the words on lines that held",
        ),
        sa.Column(
            "measurement_version", sa.Integer(), nullable=False, comment="of the measuring code"
        ),
        sa.Column("profile", sa.Text(), nullable=False, comment="its name"),
        sa.Column(
            "profile_sha256", sa.Text(), nullable=False, comment="hash of the profile's settings"
        ),
        sa.Column("time", sa.Text(), nullable=False, comment="ISO 8601 with offset"),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_measured_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_measured")),
        comment="how photos were measured; the record itself lies in the fact",
    )
    op.create_index(
        "ix_measured_way",
        "measured",
        ["sha256", "key", "measurement_version", "profile_sha256"],
        unique=False,
    )
    op.create_table(
        "model_use",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("author", sa.Text(), nullable=True, comment="who said it, name as typed"),
        sa.Column("time", sa.Text(), nullable=False, comment="ISO 8601 with offset"),
        sa.Column(
            "folder",
            sa.Text(),
            nullable=True,
            comment="of the model, from the root on; null for the starter",
        ),
        sa.Column(
            "label",
            sa.Text(),
            nullable=True,
            comment="of the model; null where it could not be read",
        ),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_model_use_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_model_use")),
        comment="models taken into use",
    )
    op.create_table(
        "piece",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("name", sa.Text(), nullable=True, comment="the seller's own for it"),
        sa.Column("number", sa.Integer(), nullable=True, comment="of the piece"),
        sa.Column("parent", sa.Text(), nullable=True, comment="piece that it was cut from"),
        sa.ForeignKeyConstraint(["parent"], ["piece.uid"], name=op.f("fk_piece_parent")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_piece_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_piece")),
        comment="pieces of stone in the hand",
    )
    op.create_index(op.f("ix_piece_name"), "piece", ["name"], unique=False)
    op.create_table(
        "region_word",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("author", sa.Text(), nullable=True, comment="who said it, name as typed"),
        sa.Column("time", sa.Text(), nullable=False, comment="ISO 8601 with offset"),
        sa.Column("sha256", sa.Text(), nullable=False, comment="hash of the photo's content"),
        sa.Column(
            "piece_id",
            sa.Integer(),
            nullable=False,
            comment="number of the stone on that photo then",
        ),
        sa.Column(
            "box",
            sa.JSON(none_as_null=True),
            nullable=False,
            comment="x, y, width and height in px of the photo",
        ),
        sa.Column(
            "outline",
            sa.JSON(none_as_null=True),
            nullable=True,
            comment="x, y of each point in px of the photo",
        ),
        sa.Column("photo", sa.Text(), nullable=False, comment="its name then"),
        sa.Column("x", sa.Integer(), nullable=False, comment="px of the photo"),
        sa.Column("y", sa.Integer(), nullable=False, comment="px of the photo"),
        sa.Column("w", sa.Integer(), nullable=False, comment="px of the photo"),
        sa.Column("h", sa.Integer(), nullable=False, comment="px of the photo"),
        sa.Column("says", sa.Text(), nullable=False, comment="name of a colour class, or glare"),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_region_word_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_region_word")),
        comment="what the seller said of rectangles on a face",
    )
    op.create_index(op.f("ix_region_word_sha256"), "region_word", ["sha256"], unique=False)
    op.create_table(
        "resort",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("author", sa.Text(), nullable=True, comment="who said it, name as typed"),
        sa.Column("time", sa.Text(), nullable=False, comment="ISO 8601 with offset"),
        sa.Column(
            "of", sa.Text(), nullable=True, comment="whose calls are sorted again; null for all"
        ),
        sa.Column(
            "stones",
            sa.JSON(none_as_null=True),
            nullable=False,
            comment="where each was seen, in the order of showing",
        ),
        sa.Column(
            "first", sa.JSON(none_as_null=True), nullable=False, comment="the grade that each had"
        ),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_resort_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_resort")),
        comment="stones sorted again, blind",
    )
    op.create_table(
        "season",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("name", sa.Text(), nullable=False, comment="as typed"),
        sa.Column("begins", sa.Text(), nullable=False, comment="ISO date"),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_season_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_season")),
        comment="seasons of calls",
    )
    op.create_table(
        "call",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("author", sa.Text(), nullable=True, comment="who said it, name as typed"),
        sa.Column("time", sa.Text(), nullable=False, comment="ISO 8601 with offset"),
        sa.Column("sha256", sa.Text(), nullable=False, comment="hash of the photo's content"),
        sa.Column(
            "piece_id",
            sa.Integer(),
            nullable=False,
            comment="number of the stone on that photo then",
        ),
        sa.Column(
            "box",
            sa.JSON(none_as_null=True),
            nullable=False,
            comment="x, y, width and height in px of the photo",
        ),
        sa.Column(
            "outline",
            sa.JSON(none_as_null=True),
            nullable=True,
            comment="x, y of each point in px of the photo",
        ),
        sa.Column("photo", sa.Text(), nullable=False, comment="its name then"),
        sa.Column(
            "measured", sa.Text(), nullable=True, comment="uid of the measurement that was shown"
        ),
        sa.Column("grade", sa.Text(), nullable=True, comment="as called"),
        sa.Column("scene", sa.Integer(), nullable=True, comment="scene score as called, 0 to 100"),
        sa.Column("note", sa.Text(), nullable=True, comment="the seller's own words"),
        sa.Column("stone", sa.Text(), nullable=True, comment="the seller's own name for the piece"),
        sa.Column(
            "shown",
            sa.JSON(none_as_null=True),
            nullable=True,
            comment="grade, scene, model and state that the tool had said",
        ),
        sa.ForeignKeyConstraint(["measured"], ["measured.uid"], name=op.f("fk_call_measured")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_call_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_call")),
        comment="what the seller said of stones",
    )
    op.create_index(op.f("ix_call_sha256"), "call", ["sha256"], unique=False)
    op.create_index(op.f("ix_call_stone"), "call", ["stone"], unique=False)
    op.create_table(
        "face",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("piece", sa.Text(), nullable=False, comment="whose face it is"),
        sa.Column("sha256", sa.Text(), nullable=False, comment="hash of the photo's content"),
        sa.Column(
            "box",
            sa.JSON(none_as_null=True),
            nullable=False,
            comment="x, y, width and height in px of the photo",
        ),
        sa.Column(
            "outline",
            sa.JSON(none_as_null=True),
            nullable=True,
            comment="x, y of each point in px of the photo",
        ),
        sa.ForeignKeyConstraint(["piece"], ["piece.uid"], name=op.f("fk_face_piece")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_face_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_face")),
        comment="faces of pieces on photos",
    )
    op.create_index(op.f("ix_face_piece"), "face", ["piece"], unique=False)
    op.create_index(op.f("ix_face_sha256"), "face", ["sha256"], unique=False)
    op.create_table(
        "line_word",
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.Column("author", sa.Text(), nullable=True, comment="who said it, name as typed"),
        sa.Column("time", sa.Text(), nullable=False, comment="ISO 8601 with offset"),
        sa.Column("sha256", sa.Text(), nullable=False, comment="hash of the photo's content"),
        sa.Column(
            "piece_id",
            sa.Integer(),
            nullable=False,
            comment="number of the stone on that photo then",
        ),
        sa.Column(
            "box",
            sa.JSON(none_as_null=True),
            nullable=False,
            comment="x, y, width and height in px of the photo",
        ),
        sa.Column(
            "outline",
            sa.JSON(none_as_null=True),
            nullable=True,
            comment="x, y of each point in px of the photo",
        ),
        sa.Column("photo", sa.Text(), nullable=False, comment="its name then"),
        sa.Column(
            "measured", sa.Text(), nullable=True, comment="uid of the measurement that was shown"
        ),
        sa.Column("line", sa.Integer(), nullable=False, comment="its number then"),
        sa.Column(
            "points",
            sa.JSON(none_as_null=True),
            nullable=False,
            comment="x, y of each in px of the photo",
        ),
        sa.Column(
            "says",
            sa.Text(),
            nullable=False,
            comment="crack, pattern, or withdrawn, which takes earlier words on it back",
        ),
        sa.Column("found", sa.Text(), nullable=True, comment="open, tight, healed or unknown"),
        sa.Column("how", sa.Text(), nullable=True, comment="how it was checked"),
        sa.Column("note", sa.Text(), nullable=True, comment="the seller's own words"),
        sa.ForeignKeyConstraint(["measured"], ["measured.uid"], name=op.f("fk_line_word_measured")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_line_word_uid")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_line_word")),
        comment="what the seller said of lines",
    )
    op.create_index(op.f("ix_line_word_sha256"), "line_word", ["sha256"], unique=False)
    op.create_table(
        "look",
        sa.Column("sha256", sa.Text(), nullable=False, comment="hash of the photo's content"),
        sa.Column(
            "measured", sa.Text(), nullable=False, comment="uid of the measurement that was shown"
        ),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.ForeignKeyConstraint(["measured"], ["measured.uid"], name=op.f("fk_look_measured")),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_look")),
        comment="which measurement of a photo was shown last",
    )
    op.create_table(
        "resort_answer",
        sa.Column("resort", sa.Text(), nullable=False, comment="which it belongs to"),
        sa.Column("stone", sa.Integer(), nullable=False, comment="place in the list, from 0"),
        sa.Column(
            "grade",
            sa.Text(),
            nullable=True,
            comment="given this time; null where it was taken back",
        ),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.ForeignKeyConstraint(["resort"], ["resort.uid"], name=op.f("fk_resort_answer_resort")),
        sa.PrimaryKeyConstraint("resort", "stone", name=op.f("pk_resort_answer")),
        comment="answers that hold, of stones sorted again",
    )
    op.create_table(
        "resort_done",
        sa.Column("resort", sa.Text(), nullable=False, comment="which is done"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.ForeignKeyConstraint(["resort"], ["resort.uid"], name=op.f("fk_resort_done_resort")),
        sa.PrimaryKeyConstraint("resort", name=op.f("pk_resort_done")),
        comment="sortings that are finished",
    )
    op.create_table(
        "stone",
        sa.Column(
            "measured", sa.Text(), nullable=False, comment="uid of the measurement that was shown"
        ),
        sa.Column(
            "piece_id", sa.Integer(), nullable=False, comment="number of the stone on the photo"
        ),
        sa.Column(
            "box",
            sa.JSON(none_as_null=True),
            nullable=True,
            comment="x, y, width and height in px of the photo, as the record has it",
        ),
        sa.Column(
            "facts",
            sa.JSON(none_as_null=True),
            nullable=False,
            comment="what a proposal is made of",
        ),
        sa.ForeignKeyConstraint(["measured"], ["measured.uid"], name=op.f("fk_stone_measured")),
        sa.PrimaryKeyConstraint("measured", "piece_id", name=op.f("pk_stone")),
        comment="stones of each measurement",
    )
    op.create_table(
        "taken_back",
        sa.Column(
            "call", sa.Text(), nullable=False, comment="uid of the call that does not hold any more"
        ),
        sa.Column("uid", sa.Text(), nullable=False, comment="of the fact that takes it back"),
        sa.Column(
            "sequence",
            sa.Integer(),
            nullable=False,
            comment="of the fact, which is the order of all that counts",
        ),
        sa.ForeignKeyConstraint(["call"], ["call.uid"], name=op.f("fk_taken_back_call")),
        sa.ForeignKeyConstraint(["uid"], ["fact.uid"], name=op.f("fk_taken_back_uid")),
        sa.PrimaryKeyConstraint("call", name=op.f("pk_taken_back")),
        comment="calls taken back; they stay in their table",
    )
