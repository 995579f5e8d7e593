"""Whole tables, a few thousand rows at a time, for a file that leaves the program."""

import json
from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import JSON, Text, cast, inspect, select, tuple_
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

    def blocks(self, table: str, columns: Sequence[str]) -> Iterator[list[Sequence[Any]]]:
        """Every row in the order of the key, as blocks of columns: moments in UTC, JSON as its text.

        Each block is a statement of its own, which goes on behind the last key.
        """
        found = Table.metadata.tables[table]
        key, chosen = inspect(found).primary_key, [found.c[column] for column in columns]
        parts = [isinstance(column.type, JSON) for column in chosen]
        asked = (cast(column, Text) if has else column for column, has in zip(chosen, parts, strict=True))
        statement = select(*asked, *(column.label(None) for column in key)).order_by(*key).limit(AT_ONCE)
        rows = self._session.execute(statement).all()
        while rows:
            together = zip(zip(*rows, strict=True), parts, strict=False)
            yield [[_readable(cell) for cell in column] if has else column for column, has in together]
            behind = statement.where(tuple_(*key) > tuple_(*rows[-1][len(columns) :]))
            rows = self._session.execute(behind).all() if len(rows) == AT_ONCE else []


def _readable(text: str | None) -> str | None:
    """JSON with its letters as they are."""
    if text is None or "\\u" not in text:
        return text
    return json.dumps(json.loads(text), ensure_ascii=False)
