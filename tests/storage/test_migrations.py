"""The migrations that ship with the package lead to the tables of the models, on both databases."""

import re
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Connection, create_engine, text

from shared.errors import StorageTrouble
from storage.models import Table
from storage.work import Store


def sqlite_schema(connection: Connection) -> dict[str, set[str]]:
    """Of every table and index the clauses that made it; their order within a table does not matter."""
    made = connection.execute(
        text("SELECT name, sql FROM sqlite_master WHERE type IN ('table', 'index') AND sql IS NOT NULL")
    )
    return {
        name: {re.sub(r"\s+", " ", clause).strip(' ")') for clause in sql.split(",")}
        for name, sql in made
        if name != "alembic_version"
    }


def postgres_schema(connection: Connection, schema: str) -> set[str]:
    """Columns, constraints and indexes, as the server words them."""
    columns = connection.execute(
        text(
            "SELECT table_name, column_name, data_type, is_nullable, character_maximum_length "
            "FROM information_schema.columns WHERE table_schema = :schema"
        ),
        {"schema": schema},
    )
    constraints = connection.execute(
        text(
            "SELECT conrelid::regclass, conname, pg_get_constraintdef(oid) FROM pg_constraint "
            "WHERE connamespace = CAST(:schema AS regnamespace)"
        ),
        {"schema": schema},
    )
    indexes = connection.execute(text("SELECT indexdef FROM pg_indexes WHERE schemaname = :s"), {"s": schema})
    rows = (*columns, *constraints, *indexes)
    return {
        str(tuple(row)).replace(f"{schema}.", "") for row in rows if "alembic_version" not in str(tuple(row))
    }


def test_sqlite_tables_are_those_of_the_models(sqlite_url: str, tmp_path: Path) -> None:
    """A migrated SQLite file has, clause for clause, the tables, constraints and indexes of the models."""
    other = create_engine(f"sqlite:///{tmp_path / 'other.db'}")
    Table.metadata.create_all(other)
    migrated = create_engine(sqlite_url)

    with migrated.connect() as ours, other.connect() as theirs:
        assert sqlite_schema(ours) == sqlite_schema(theirs)
        assert len(sqlite_schema(ours)) > 20

    other.dispose()
    migrated.dispose()


def test_postgresql_tables_are_those_of_the_models(postgres_url: str) -> None:
    """A migrated PostgreSQL database has the columns, constraints and indexes of the models."""
    engine = create_engine(postgres_url)

    with engine.connect() as connection:
        migrated = postgres_schema(connection, "public")
        connection.execute(text("CREATE SCHEMA other"))
        connection.execute(text("SET search_path TO other"))
        Table.metadata.create_all(connection)
        made = postgres_schema(connection, "other")
        connection.rollback()

    assert migrated == made
    assert len(made) > 100
    engine.dispose()


def test_alembic_finds_nothing_to_migrate(database_url: str) -> None:
    """Alembic's own comparison of models and database finds no difference."""
    engine = create_engine(database_url)

    with engine.connect() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), Table.metadata)

    assert differences == []
    engine.dispose()


def test_upgrade_can_be_repeated(store: Store) -> None:
    """Upgrading a database that is up to date changes nothing and does not fail."""
    store.upgrade()

    with store.work(reading=True) as work:
        assert work.inbox.waiting() == []


def test_a_newer_database_is_refused(database_url: str, store: Store) -> None:
    """A database that a newer version has migrated is left alone, with one line that says so."""
    engine = create_engine(database_url)
    with engine.begin() as connection:
        ours = connection.scalar(text("SELECT version_num FROM alembic_version"))
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))

    with pytest.raises(StorageTrouble, match=r"is from a newer version \(9999\): install that version"):
        store.upgrade()

    with engine.begin() as connection:
        assert connection.scalar(text("SELECT version_num FROM alembic_version")) == "9999"
        connection.execute(text("UPDATE alembic_version SET version_num = :ours"), {"ours": ours})
    engine.dispose()
