"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Forward."""
    op.create_table(
        "class",
        sa.Column("code", sa.String(length=16), nullable=False),
        sa.Column("title", sa.Text(), nullable=True),
        sa.Column("place", sa.Text(), nullable=True),
        sa.Column("language", sa.String(length=2), nullable=False),
        sa.Column("zone", sa.String(length=64), nullable=False),
        sa.Column("seats", sa.Integer(), nullable=True),
        sa.Column("taught_on", sa.Date(), nullable=True),
        sa.CheckConstraint("seats > 0", name=op.f("ck_class_seats")),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_class")),
    )
    op.create_table(
        "day_figures",
        sa.Column("year", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("data_date", sa.Date(), nullable=False),
        sa.Column("figures", sa.JSON(none_as_null=True), nullable=False),
        sa.PrimaryKeyConstraint("year", name=op.f("pk_day_figures")),
    )
    op.create_table(
        "incoming",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("channel", sa.String(length=16), nullable=False),
        sa.Column("address", sa.String(length=128), nullable=False),
        sa.Column("message_id", sa.String(length=128), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("place", sa.String(length=128), nullable=True),
        sa.Column("form", sa.String(length=10), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("handled_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "form IN ('text', 'edited', 'photo', 'voice', 'button', 'blocked', 'grouped')",
            name=op.f("ck_incoming_form"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_incoming")),
        sa.UniqueConstraint("channel", "message_id", name=op.f("uq_incoming_channel_message_id")),
    )
    op.create_index("ix_incoming_channel_address", "incoming", ["channel", "address"], unique=False)
    op.create_index(
        "ix_incoming_forgotten",
        "incoming",
        ["id"],
        unique=False,
        sqlite_where=sa.text("channel = 'erased'"),
        postgresql_where=sa.text("channel = 'erased'"),
    )
    op.create_index(
        "ix_incoming_kept",
        "incoming",
        ["at"],
        unique=False,
        sqlite_where=sa.text("text <> ''"),
        postgresql_where=sa.text("text <> ''"),
    )
    op.create_index(
        "ix_incoming_waiting",
        "incoming",
        ["id"],
        unique=False,
        sqlite_where=sa.text("handled_at IS NULL"),
        postgresql_where=sa.text("handled_at IS NULL"),
    )
    op.create_table(
        "lease",
        sa.Column("task", sa.String(length=32), nullable=False),
        sa.Column("holder", sa.String(length=64), nullable=False),
        sa.Column("until", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("task", name=op.f("pk_lease")),
    )
    op.create_table(
        "pace",
        sa.Column("channel", sa.String(length=16), nullable=False),
        sa.Column("free_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("paused_until", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("channel", name=op.f("pk_pace")),
    )
    op.create_table(
        "stop_list",
        sa.Column("mark", sa.String(length=64), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("mark", name=op.f("pk_stop_list")),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("language", sa.String(length=2), nullable=False),
        sa.Column("units", sa.String(length=1), nullable=False),
        sa.Column("zone", sa.String(length=64), nullable=False),
        sa.Column("standing", sa.String(length=10), nullable=False),
        sa.Column("weekday", sa.String(length=3), nullable=True),
        sa.Column("nudge_at", sa.Time(), nullable=True),
        sa.Column("quiet_from", sa.Time(), nullable=False),
        sa.Column("quiet_to", sa.Time(), nullable=False),
        sa.Column("paused_until", sa.Date(), nullable=True),
        sa.Column("only_about", sa.String(length=16), nullable=True),
        sa.Column("cannot_turn", sa.Boolean(), nullable=False),
        sa.Column("thermometer", sa.Boolean(), nullable=True),
        sa.Column("waiting_for", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("unanswered", sa.Integer(), nullable=False),
        sa.Column("last_heard_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("joined_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("next_look_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("class_code", sa.String(length=16), nullable=True),
        sa.Column("through_id", sa.Integer(), nullable=True),
        sa.Column("composted_before", sa.Boolean(), nullable=True),
        sa.Column("household", sa.Integer(), nullable=True),
        sa.Column("postcode_area", sa.String(length=8), nullable=True),
        sa.Column("calendar_key", sa.String(length=43), nullable=True),
        sa.CheckConstraint("language IN ('en', 'es')", name=op.f("ck_person_language")),
        sa.CheckConstraint(
            "standing IN ('asked', 'joined', 'stopped', 'erased')", name=op.f("ck_person_standing")
        ),
        sa.CheckConstraint("units IN ('f', 'c')", name=op.f("ck_person_units")),
        sa.CheckConstraint(
            "weekday IN ('mon', 'tue', 'wed', 'thu', 'fri', 'sat', 'sun')", name=op.f("ck_person_weekday")
        ),
        sa.CheckConstraint("household > 0", name=op.f("ck_person_household")),
        sa.CheckConstraint("unanswered >= 0", name=op.f("ck_person_unanswered")),
        sa.ForeignKeyConstraint(["class_code"], ["class.code"], name=op.f("fk_person_class_code_class")),
        sa.ForeignKeyConstraint(["through_id"], ["person.id"], name=op.f("fk_person_through_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("calendar_key", name=op.f("uq_person_calendar_key")),
    )
    op.create_index(op.f("ix_person_class_code"), "person", ["class_code"], unique=False)
    op.create_index(
        "ix_person_next_look_at",
        "person",
        ["next_look_at"],
        unique=False,
        sqlite_where=sa.text("next_look_at IS NOT NULL"),
        postgresql_where=sa.text("next_look_at IS NOT NULL"),
    )
    op.create_index(op.f("ix_person_through_id"), "person", ["through_id"], unique=False)
    op.create_table(
        "address",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("channel", sa.String(length=16), nullable=False),
        sa.Column("address", sa.String(length=128), nullable=False),
        sa.Column("current", sa.Boolean(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_address_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_address")),
        sa.UniqueConstraint("channel", "address", name=op.f("uq_address_channel_address")),
    )
    op.create_index(op.f("ix_address_person_id"), "address", ["person_id"], unique=False)
    op.create_index(
        "uq_address_current",
        "address",
        ["person_id"],
        unique=True,
        sqlite_where=sa.text("current"),
        postgresql_where=sa.text("current"),
    )
    op.create_table(
        "bin_sale",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("class_code", sa.String(length=16), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("serial", sa.String(length=40), nullable=True),
        sa.Column("price_cents", sa.Integer(), nullable=True),
        sa.Column("sold_on", sa.Date(), nullable=False),
        sa.Column("undone_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("price_cents >= 0", name=op.f("ck_bin_sale_price_cents")),
        sa.ForeignKeyConstraint(["class_code"], ["class.code"], name=op.f("fk_bin_sale_class_code_class")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_bin_sale_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bin_sale")),
    )
    op.create_index(op.f("ix_bin_sale_class_code"), "bin_sale", ["class_code"], unique=False)
    op.create_index(op.f("ix_bin_sale_person_id"), "bin_sale", ["person_id"], unique=False)
    op.create_table(
        "consent",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("given", sa.Boolean(), nullable=False),
        sa.Column("wording", sa.Text(), nullable=False),
        sa.Column("language", sa.String(length=2), nullable=False),
        sa.Column("channel", sa.String(length=16), nullable=False),
        sa.Column("class_code", sa.String(length=16), nullable=True),
        sa.Column("version", sa.String(length=32), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["class_code"], ["class.code"], name=op.f("fk_consent_class_code_class")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_consent_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_consent")),
    )
    op.create_index(op.f("ix_consent_person_id"), "consent", ["person_id"], unique=False)
    op.create_table(
        "move",
        sa.Column("person_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("mark", sa.String(length=64), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_move_person_id_person")),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_move")),
    )
    op.create_index(op.f("ix_move_mark"), "move", ["mark"], unique=False)
    op.create_table(
        "pile",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("zone", sa.String(length=64), nullable=False),
        sa.Column("founder_id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("next_look_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("last_forecast", sa.JSON(none_as_null=True), nullable=True),
        sa.ForeignKeyConstraint(["founder_id"], ["person.id"], name=op.f("fk_pile_founder_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pile")),
    )
    op.create_index(
        "ix_pile_next_look_at",
        "pile",
        ["next_look_at"],
        unique=False,
        sqlite_where=sa.text("closed_at IS NULL"),
        postgresql_where=sa.text("closed_at IS NULL"),
    )
    op.create_table(
        "question",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("incoming_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("topic", sa.String(length=40), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by_staff", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["incoming_id"], ["incoming.id"], name=op.f("fk_question_incoming_id_incoming")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_question_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_question")),
        sa.UniqueConstraint("incoming_id", "topic", name=op.f("uq_question_incoming_id_topic")),
    )
    op.create_index("ix_question_at", "question", ["at"], unique=False)
    op.create_table(
        "staff",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.String(length=12), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("role IN ('coordinator', 'educator', 'volunteer')", name=op.f("ck_staff_role")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_staff_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_staff")),
        sa.UniqueConstraint("person_id", name=op.f("uq_staff_person_id")),
    )
    op.create_table(
        "approved_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("topic", sa.String(length=40), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("en", sa.Text(), nullable=False),
        sa.Column("es", sa.Text(), nullable=False),
        sa.Column("written_by", sa.Integer(), nullable=False),
        sa.Column("approved_by", sa.Integer(), nullable=True),
        sa.Column("approved_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["approved_by"], ["staff.id"], name=op.f("fk_approved_answer_approved_by_staff")
        ),
        sa.ForeignKeyConstraint(
            ["written_by"], ["staff.id"], name=op.f("fk_approved_answer_written_by_staff")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_approved_answer")),
        sa.UniqueConstraint("topic", "version", name=op.f("uq_approved_answer_topic_version")),
    )
    op.create_table(
        "assignment",
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("pile_id", sa.Integer(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["pile_id"], ["pile.id"], name=op.f("fk_assignment_pile_id_pile")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_assignment_staff_id_staff")),
        sa.PrimaryKeyConstraint("staff_id", "pile_id", name=op.f("pk_assignment")),
    )
    op.create_table(
        "broadcast",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("audience", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("en", sa.Text(), nullable=False),
        sa.Column("es", sa.Text(), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("approved_by", sa.Integer(), nullable=True),
        sa.Column("approved_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("not_before", sa.DateTime(timezone=True), nullable=True),
        sa.Column("per_hour", sa.Integer(), nullable=False),
        sa.Column("status", sa.String(length=10), nullable=False),
        sa.Column("cursor", sa.Integer(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("why_ended", sa.String(length=24), nullable=True),
        sa.CheckConstraint(
            "status IN ('draft', 'approved', 'going', 'stopped', 'done')", name=op.f("ck_broadcast_status")
        ),
        sa.CheckConstraint("per_hour > 0", name=op.f("ck_broadcast_per_hour")),
        sa.ForeignKeyConstraint(["approved_by"], ["staff.id"], name=op.f("fk_broadcast_approved_by_staff")),
        sa.ForeignKeyConstraint(["made_by"], ["staff.id"], name=op.f("fk_broadcast_made_by_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_broadcast")),
    )
    op.create_table(
        "frozen_report",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("year", sa.Integer(), nullable=False),
        sa.Column("data_date", sa.Date(), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.String(length=32), nullable=False),
        sa.Column("figures", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(["made_by"], ["staff.id"], name=op.f("fk_frozen_report_made_by_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_frozen_report")),
    )
    op.create_table(
        "help",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("pile_id", sa.Integer(), nullable=True),
        sa.Column("incoming_id", sa.Integer(), nullable=True),
        sa.Column("cause", sa.String(length=24), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("handled_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("handled_by", sa.Integer(), nullable=True),
        sa.Column("how", sa.String(length=12), nullable=True),
        sa.ForeignKeyConstraint(["handled_by"], ["staff.id"], name=op.f("fk_help_handled_by_staff")),
        sa.ForeignKeyConstraint(["incoming_id"], ["incoming.id"], name=op.f("fk_help_incoming_id_incoming")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_help_person_id_person")),
        sa.ForeignKeyConstraint(["pile_id"], ["pile.id"], name=op.f("fk_help_pile_id_pile")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_help")),
    )
    op.create_index(
        "ix_help_open",
        "help",
        ["opened_at"],
        unique=False,
        sqlite_where=sa.text("handled_at IS NULL"),
        postgresql_where=sa.text("handled_at IS NULL"),
    )
    op.create_index(op.f("ix_help_person_id"), "help", ["person_id"], unique=False)
    op.create_index(
        "uq_help_open",
        "help",
        ["person_id", "cause"],
        unique=True,
        sqlite_where=sa.text("handled_at IS NULL"),
        postgresql_where=sa.text("handled_at IS NULL"),
    )
    op.create_table(
        "invite",
        sa.Column("code", sa.String(length=12), nullable=False),
        sa.Column("pile_id", sa.Integer(), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["made_by"], ["person.id"], name=op.f("fk_invite_made_by_person")),
        sa.ForeignKeyConstraint(["pile_id"], ["pile.id"], name=op.f("fk_invite_pile_id_pile")),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_invite")),
    )
    op.create_table(
        "keeper",
        sa.Column("pile_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("joined_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("left_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("number > 0", name=op.f("ck_keeper_number")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_keeper_person_id_person")),
        sa.ForeignKeyConstraint(["pile_id"], ["pile.id"], name=op.f("fk_keeper_pile_id_pile")),
        sa.PrimaryKeyConstraint("pile_id", "person_id", name=op.f("pk_keeper")),
        sa.UniqueConstraint("person_id", "number", name=op.f("uq_keeper_person_id_number")),
    )
    op.create_table(
        "logger_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pile_id", sa.Integer(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("rows", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("undone_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["pile_id"], ["pile.id"], name=op.f("fk_logger_file_pile_id_pile")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_logger_file_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_logger_file")),
    )
    op.create_index(op.f("ix_logger_file_pile_id"), "logger_file", ["pile_id"], unique=False)
    op.create_table(
        "look",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(length=24), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_look_person_id_person")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_look_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_look")),
    )
    op.create_index(op.f("ix_look_person_id"), "look", ["person_id"], unique=False)
    op.create_table(
        "promise",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pile_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("first", sa.Date(), nullable=False),
        sa.Column("last", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["pile_id"], ["pile.id"], name=op.f("fk_promise_pile_id_pile")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_promise")),
    )
    op.create_index(op.f("ix_promise_pile_id"), "promise", ["pile_id"], unique=False)
    op.create_table(
        "record",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pile_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("on_day", sa.Date(), nullable=False),
        sa.Column("hour", sa.Double(), nullable=True),
        sa.Column("data", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("said_by", sa.Integer(), nullable=False),
        sa.Column("said_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("incoming_id", sa.Integer(), nullable=True),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "kind <> 'undo' OR replaces_id IS NOT NULL", name=op.f("ck_record_undo_names_its_record")
        ),
        sa.ForeignKeyConstraint(
            ["incoming_id"], ["incoming.id"], name=op.f("fk_record_incoming_id_incoming")
        ),
        sa.ForeignKeyConstraint(["pile_id"], ["pile.id"], name=op.f("fk_record_pile_id_pile")),
        sa.ForeignKeyConstraint(["replaces_id"], ["record.id"], name=op.f("fk_record_replaces_id_record")),
        sa.ForeignKeyConstraint(["said_by"], ["person.id"], name=op.f("fk_record_said_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_record")),
    )
    op.create_index("ix_record_pile_id", "record", ["pile_id", "id"], unique=False)
    op.create_index(
        "ix_record_setup",
        "record",
        ["pile_id"],
        unique=False,
        sqlite_where=sa.text("kind IN ('setup', 'undo')"),
        postgresql_where=sa.text("kind IN ('setup', 'undo')"),
    )
    op.create_table(
        "records_hold",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["made_by"], ["staff.id"], name=op.f("fk_records_hold_made_by_staff")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_records_hold_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_records_hold")),
    )
    op.create_table(
        "roster",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("class_code", sa.String(length=16), nullable=True),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("columns", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("rows", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("undone_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["class_code"], ["class.code"], name=op.f("fk_roster_class_code_class")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_roster_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_roster")),
    )
    op.create_table(
        "sign_in",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("mark", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("wrong_tries", sa.Integer(), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_sign_in_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in")),
    )
    op.create_index(op.f("ix_sign_in_staff_id"), "sign_in", ["staff_id"], unique=False)
    op.create_table(
        "staff_invite",
        sa.Column("mark", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.String(length=12), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "role IN ('coordinator', 'educator', 'volunteer')", name=op.f("ck_staff_invite_role")
        ),
        sa.ForeignKeyConstraint(["made_by"], ["staff.id"], name=op.f("fk_staff_invite_made_by_staff")),
        sa.PrimaryKeyConstraint("mark", name=op.f("pk_staff_invite")),
    )
    op.create_table(
        "survey",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("items", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("starts_on", sa.Date(), nullable=False),
        sa.Column("ends_on", sa.Date(), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=False),
        sa.Column("cursor", sa.Integer(), nullable=False),
        sa.Column("stopped_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["made_by"], ["staff.id"], name=op.f("fk_survey_made_by_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_survey")),
    )
    op.create_table(
        "visit",
        sa.Column("mark", sa.String(length=64), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_visit_staff_id_staff")),
        sa.PrimaryKeyConstraint("mark", name=op.f("pk_visit")),
    )
    op.create_index(op.f("ix_visit_staff_id"), "visit", ["staff_id"], unique=False)
    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("pile_id", sa.Integer(), nullable=True),
        sa.Column("incoming_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("lines", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("options", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("opens", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("reason", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("unique_key", sa.String(length=160), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("status", sa.String(length=10), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("next_try_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("holder", sa.String(length=64), nullable=True),
        sa.Column("lease_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("channel", sa.String(length=16), nullable=True),
        sa.Column("address", sa.String(length=128), nullable=True),
        sa.Column("place", sa.String(length=128), nullable=True),
        sa.Column("channel_message_id", sa.String(length=128), nullable=True),
        sa.Column("receipts", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("text", sa.Text(), nullable=True),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("broadcast_id", sa.Integer(), nullable=True),
        sa.Column("why_not", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "kind IN ('reply', 'confirmation', 'nudge', 'warning', 'alert', 'broadcast')",
            name=op.f("ck_outbox_kind"),
        ),
        sa.CheckConstraint(
            "status <> 'claimed' OR lease_until IS NOT NULL", name=op.f("ck_outbox_claimed_has_lease")
        ),
        sa.CheckConstraint("status <> 'sent' OR sent_at IS NOT NULL", name=op.f("ck_outbox_sent_has_moment")),
        sa.CheckConstraint(
            "status IN ('waiting', 'claimed', 'sent', 'failed', 'unknown', 'held')",
            name=op.f("ck_outbox_status"),
        ),
        sa.ForeignKeyConstraint(
            ["broadcast_id"], ["broadcast.id"], name=op.f("fk_outbox_broadcast_id_broadcast")
        ),
        sa.ForeignKeyConstraint(
            ["incoming_id"], ["incoming.id"], name=op.f("fk_outbox_incoming_id_incoming")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_outbox_person_id_person")),
        sa.ForeignKeyConstraint(["pile_id"], ["pile.id"], name=op.f("fk_outbox_pile_id_pile")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox")),
        sa.UniqueConstraint("unique_key", name=op.f("uq_outbox_unique_key")),
    )
    op.create_index(
        "ix_outbox_about_pile",
        "outbox",
        ["pile_id", "id"],
        unique=False,
        sqlite_where=sa.text("kind IN ('nudge', 'warning')"),
        postgresql_where=sa.text("kind IN ('nudge', 'warning')"),
    )
    op.create_index(
        "ix_outbox_kept",
        "outbox",
        ["due_at"],
        unique=False,
        sqlite_where=sa.text("text IS NOT NULL"),
        postgresql_where=sa.text("text IS NOT NULL"),
    )
    op.create_index(
        "ix_outbox_broadcast",
        "outbox",
        ["broadcast_id", "status", "why_not"],
        unique=False,
        sqlite_where=sa.text("broadcast_id IS NOT NULL"),
        postgresql_where=sa.text("broadcast_id IS NOT NULL"),
    )
    op.create_index(
        "ix_outbox_due",
        "outbox",
        ["rank", "next_try_at", "id"],
        unique=False,
        sqlite_where=sa.text("status = 'waiting'"),
        postgresql_where=sa.text("status = 'waiting'"),
    )
    op.create_index(
        "ix_outbox_lease_until",
        "outbox",
        ["lease_until"],
        unique=False,
        sqlite_where=sa.text("status = 'claimed'"),
        postgresql_where=sa.text("status = 'claimed'"),
    )
    op.create_index(
        "ix_outbox_open",
        "outbox",
        ["person_id", "id"],
        unique=False,
        sqlite_where=sa.text("status IN ('waiting', 'claimed')"),
        postgresql_where=sa.text("status IN ('waiting', 'claimed')"),
    )
    op.create_index("ix_outbox_person_id", "outbox", ["person_id", "due_at"], unique=False)
    op.create_index(
        "ix_outbox_sent",
        "outbox",
        ["person_id", "sent_at"],
        unique=False,
        sqlite_where=sa.text("status = 'sent'"),
        postgresql_where=sa.text("status = 'sent'"),
    )
    op.create_index(
        "uq_outbox_one_on_its_way",
        "outbox",
        ["person_id"],
        unique=True,
        sqlite_where=sa.text("status = 'claimed'"),
        postgresql_where=sa.text("status = 'claimed'"),
    )
    op.create_table(
        "roster_person",
        sa.Column("roster_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("reference", sa.String(length=80), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_roster_person_person_id_person")),
        sa.ForeignKeyConstraint(["roster_id"], ["roster.id"], name=op.f("fk_roster_person_roster_id_roster")),
        sa.PrimaryKeyConstraint("roster_id", "person_id", name=op.f("pk_roster_person")),
    )
    op.create_index(op.f("ix_roster_person_person_id"), "roster_person", ["person_id"], unique=False)
    op.create_table(
        "survey_answer",
        sa.Column("survey_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("item", sa.Integer(), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("value", sa.String(length=24), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_survey_answer_person_id_person")),
        sa.ForeignKeyConstraint(["survey_id"], ["survey.id"], name=op.f("fk_survey_answer_survey_id_survey")),
        sa.PrimaryKeyConstraint("survey_id", "person_id", "item", name=op.f("pk_survey_answer")),
    )
