"""Bringing the tables of a plant to the form that this version works with, and granting who may read them."""

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, text

from station.errors import UsageError
from station.plant.database import Database

_ROLE = text("SELECT 1 FROM pg_roles WHERE rolname = :name")


def upgrade(database: Database, reader: str = "") -> None:
    """Bring the tables up to date in one transaction; the role `reader`, made if absent, may read and nothing else.

    Raises
    ------
    UsageError
        A later version made the tables, or SQLite is asked for a role.
    StationError
        As `Database.writing`.
    """
    if reader and not database.is_postgresql:
        raise UsageError("SQLite knows no roles", where="[database] reader", expected='reader = ""', got=reader,
                         remedy="Leave it out; the rights of the file say who may read it.")
    with database.writing() as connection:
        require_known(connection)
        config = _config()
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
        if reader:
            _grant(connection, reader)


def require_current(database: Database) -> None:
    """Raise UsageError unless the tables have the form that this version works with."""
    with database.reading() as connection:
        require_known(connection)
        found = _revision(connection)
    newest = ScriptDirectory.from_config(_config()).get_current_head()
    if found != newest:
        raise UsageError("the tables of the plant are not up to date", where=database.engine.url.render_as_string(),
                         expected=f"form {newest}", got=found or "no tables",
                         remedy="Run `station plant make` in the plant's folder: it adds what is missing.")


def require_known(connection: Connection) -> None:
    """Raise UsageError when a later version made the tables."""
    known = {script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()}
    found = _revision(connection)
    if found is not None and found not in known:
        raise UsageError("the tables were made by a later version", where=str(connection.engine.url),
                         expected=f"one of {', '.join(sorted(known))}", got=found,
                         remedy="Install that version of the station, or a later one.")


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", "station.plant:migrations")
    config.set_main_option("path_separator", "os")
    return config


def _revision(connection: Connection) -> str | None:
    return MigrationContext.configure(connection).get_current_revision()


def _grant(connection: Connection, reader: str) -> None:
    """Let a role read; its name is of letters, digits and lines alone, see `plant_file`."""
    if connection.execute(_ROLE, {"name": reader}).first() is None:
        connection.exec_driver_sql(f'CREATE ROLE "{reader}" NOLOGIN')
    connection.exec_driver_sql(f'GRANT USAGE ON SCHEMA public TO "{reader}"')
    connection.exec_driver_sql(f'GRANT SELECT ON ALL TABLES IN SCHEMA public TO "{reader}"')
