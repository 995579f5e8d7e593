"""Whole tables, row by row, for a file that leaves the program."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import inspect, select
from sqlalchemy.orm import Session

import storage.staff_models  # noqa: F401 - its tables join those of storage.models
from storage.models import Table

AT_ONCE = 5000


def tables() -> dict[str, tuple[str, ...]]:
    """Every table of the database with its columns."""
    return {
        table.name: tuple(column.name for column in table.columns) for table in Table.metadata.sorted_tables
    }


class Export:
    """The tables of one unit of work."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def rows(self, table: str, columns: Sequence[str]) -> Iterator[tuple[Any, ...]]:
        """Every row of a table in the order of its key, moments in UTC; a few thousand are held at a time."""
        found = Table.metadata.tables[table]
        chosen = [found.c[column] for column in columns]
        statement = select(*chosen).order_by(*inspect(found).primary_key)
        for row in self._session.execute(statement.execution_options(yield_per=AT_ONCE)):
            yield tuple(value.astimezone(UTC) if isinstance(value, datetime) else value for value in row)
