"""The tables of a plant: as migrations make them, as the code knows them, and never changed once written."""

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import insert, select, text

from station.errors import StationError, UsageError
from station.plant import schema
from station.plant.upgrade import require_current, upgrade

STATION = {"station": 1, "origin": "line-1", "verifier": "key", "added": "2026-11-26T00:00:00.000Z",
           "person": "U. Rabe"}


def test_migrations_make_what_the_code_knows(empty_database):
    database = empty_database
    upgrade(database)
    with database.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, schema.metadata) == []


def test_bringing_up_to_date_again_changes_nothing(database):
    with database.writing() as connection:
        connection.execute(insert(schema.stations), STATION)
    upgrade(database)
    require_current(database)
    with database.reading() as connection:
        assert [row._asdict() for row in connection.execute(select(schema.stations))] == [STATION]


@pytest.mark.parametrize("change", ["UPDATE stations SET origin = 'line-2'", "DELETE FROM stations"])
def test_no_row_is_changed(database, change):
    with database.writing() as connection:
        connection.execute(insert(schema.stations), STATION)
    with pytest.raises(StationError, match="never changed"), database.writing() as connection:
        connection.execute(text(change))
    with database.reading() as connection:
        assert [row._asdict() for row in connection.execute(select(schema.stations))] == [STATION]


def test_nothing_is_kept_of_a_station_that_nobody_added(database):
    head = {"station": 1, "size": 1, "root": bytes(32), "cosignature": "", "at": ""}
    with pytest.raises(StationError, match="refused"), database.writing() as connection:
        connection.execute(insert(schema.heads), head)


@pytest.mark.parametrize("verb", ["DELETE FROM {}", "UPDATE {} SET first = first"])
def test_every_table_has_its_guard(database, verb):
    for name, table in schema.metadata.tables.items():
        if verb.startswith("UPDATE") and table is schema.day_sums:
            continue        # sums grow
        with pytest.raises(StationError, match=f"rows of {name} are never changed"), database.writing() as connection:
            _change(connection, table, verb)


def _change(connection, table, verb):
    """Change a row; SQLite's guards look at rows, and are asked before it misses the row that another stands for."""
    if connection.dialect.name == "sqlite":
        cells = {"BIGINT": "1", "INTEGER": "1", "BLOB": "x'00'", "TEXT": "'1'"}
        values = ", ".join(cells[str(column.type)] for column in table.columns)
        connection.execute(text("PRAGMA defer_foreign_keys = ON"))
        connection.execute(text(f"INSERT INTO {table.name} VALUES ({values})"))
    first = next(iter(table.columns)).name
    connection.execute(text(verb.format(table.name).replace("first", first)))


def test_no_table_is_emptied(postgresql, database):
    if not database.is_postgresql:
        return      # it has no such command
    for table in schema.metadata.sorted_tables:
        with pytest.raises(StationError, match="never changed"), database.writing() as connection:
            connection.execute(text(f"TRUNCATE {table.name} CASCADE"))


def test_tables_of_a_later_version_are_left_alone(database):
    with database.writing() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    for work in (upgrade, require_current):
        with pytest.raises(UsageError, match="later version"):
            work(database)
