"""The ledger of consent is only ever added to: the database itself refuses to change or drop a line."""

from alembic import op

revision = "0002"
down_revision = "0001"

REFUSED = "the ledger of consent is only added to"
SQLITE = [
    f"CREATE TRIGGER consent_no_{verb} BEFORE {verb} ON consent BEGIN SELECT RAISE(ABORT, '{REFUSED}'); END"
    for verb in ("update", "delete")
]
POSTGRESQL = [
    "CREATE FUNCTION consent_refuse() RETURNS trigger LANGUAGE plpgsql AS "
    f"$$ BEGIN RAISE EXCEPTION '{REFUSED}'; END $$",
    "CREATE TRIGGER consent_only_added_to BEFORE UPDATE OR DELETE ON consent "
    "FOR EACH ROW EXECUTE FUNCTION consent_refuse()",
]


def upgrade() -> None:
    """Forward."""
    for statement in SQLITE if op.get_bind().dialect.name == "sqlite" else POSTGRESQL:
        op.execute(statement)
