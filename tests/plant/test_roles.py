"""Who may do what in the database: readers read, and not even its owner changes a row."""

import pytest
from sqlalchemy import insert, make_url, select, text

from station.errors import StationError, UsageError
from station.plant import schema
from station.plant.database import open_database
from station.plant.upgrade import upgrade

STATION = {"station": 1, "origin": "line-1", "verifier": "key", "added": "2026-11-26T00:00:00.000Z",
           "person": "U. Rabe"}


@pytest.fixture
def reader(postgresql, new_address):
    """A connection of somebody who may read, to a database with one station."""
    address = new_address("postgresql").replace("postgresql:", "postgresql+psycopg:")
    owner = open_database(make_url(address))
    upgrade(owner, "plant_reader")
    upgrade(owner, "plant_reader")      # the role is there then
    with owner.writing() as connection:
        connection.execute(insert(schema.stations), STATION)
    postgresql.sql("ALTER ROLE plant_reader LOGIN")
    one = open_database(make_url(address.replace("writer@", "plant_reader@")))
    yield one
    one.close()
    owner.close()


def test_a_reader_reads_every_table(reader):
    with reader.reading() as connection:
        for table in schema.metadata.sorted_tables:
            connection.execute(select(table)).all()
        assert [row._asdict() for row in connection.execute(select(schema.stations))] == [STATION]


@pytest.mark.parametrize("command", [
    "INSERT INTO stations VALUES (2, 'line-2', 'key', 'now', 'nobody')", "UPDATE stations SET person = 'nobody'",
    "DELETE FROM stations", "TRUNCATE stations CASCADE", "DROP TABLE day_sums", "CREATE TABLE more (one integer)",
    "DROP TRIGGER stations_only_added ON stations"])
def test_a_reader_changes_nothing(reader, command):
    with pytest.raises(StationError, match="refused"), reader.writing() as connection:
        connection.execute(text(command))


def test_sqlite_knows_no_roles(new_address):
    database = open_database(make_url(new_address("sqlite")))
    with pytest.raises(UsageError, match="knows no roles"):
        upgrade(database, "plant_reader")
    database.close()


def test_an_account_that_owns_its_database_and_nothing_else_is_enough(postgresql):
    for command in ("CREATE ROLE plain LOGIN", "CREATE ROLE plain_reader", "CREATE DATABASE plain OWNER plain"):
        postgresql.sql(command)
    address = postgresql.url("plain", "plain").replace("postgresql:", "postgresql+psycopg:")
    database = open_database(make_url(address))
    upgrade(database, "plain_reader")
    with database.writing() as connection:
        connection.execute(insert(schema.stations), STATION)
        connection.execute(select(schema.stations).with_for_update(key_share=True)).all()
    with pytest.raises(StationError, match="never changed"), database.writing() as connection:
        connection.execute(text("DELETE FROM stations"))
    database.close()
