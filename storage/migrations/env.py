"""Runs the migrations on the connection that `Store.upgrade` hands over, inside its transaction."""

from typing import Any, Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext

from storage.models import Table, UtcDateTime


def plain_moment(kind: str, item: Any, _context: AutogenContext) -> str | Literal[False]:
    """Write moments as plain columns: a migration must not change when the models do."""
    return "sa.DateTime(timezone=True)" if kind == "type" and isinstance(item, UtcDateTime) else False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Table.metadata,
    transactional_ddl=True,
    render_item=plain_moment,
)
with context.begin_transaction():
    context.run_migrations()
