"""The first form of the tables, with triggers that let nobody remove a row, or change one that is no sum."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision, down_revision = "0001", None

WORD = sa.Text().with_variant(postgresql.TEXT(collation="C"), "postgresql")
TABLES = ("stations", "ends", "entries", "nodes", "heads", "files", "alarms", "settlements", "setups",
          "setup_instruments", "records", "corrections", "day_sums")
SUMS = ("day_sums",)
_POSTGRESQL = """
CREATE FUNCTION only_added() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'rows of % are never changed', TG_TABLE_NAME; END $$
"""
_OF_POSTGRESQL = """
CREATE TRIGGER {table}_only_added BEFORE {verbs} OR TRUNCATE ON {table}
FOR EACH STATEMENT EXECUTE FUNCTION only_added()
"""
_OF_SQLITE = """
CREATE TRIGGER {table}_{verb} BEFORE {verb} ON {table}
BEGIN SELECT RAISE(ABORT, 'rows of {table} are never changed'); END
"""


def upgrade() -> None:
    """Make the tables."""
    _what_is_handed_over()
    _what_went_wrong()
    _index()
    _only_added()


def _word(name: str) -> sa.Column[str]:
    return sa.Column(name, WORD, nullable=False)


def _number(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, nullable=False)


def _long(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.BigInteger, nullable=False)


def _bytes(name: str) -> sa.Column[bytes]:
    return sa.Column(name, sa.LargeBinary, nullable=False)


def _part(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, primary_key=True, autoincrement=False)


def _long_part(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.BigInteger, primary_key=True, autoincrement=False)


def _station() -> sa.Column[int]:
    return sa.Column("station", sa.Integer, sa.ForeignKey("stations.station"), primary_key=True)


def _entry() -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["station", "seq"], ["entries.station", "entries.seq"])


def _what_is_handed_over() -> None:
    op.create_table("stations", sa.Column("station", sa.Integer, primary_key=True),
                    sa.Column("origin", WORD, nullable=False, unique=True), _word("verifier"), _word("added"),
                    _word("person"))
    op.create_table("ends", _station(), _word("at"), _word("person"), _word("reason"))
    op.create_table("entries", _station(), _long_part("seq"), _word("kind"), _long("subject"), _bytes("leaf"),
                    _word("checkpoint"), _bytes("body"))
    op.create_table("nodes", _station(), _part("level"), _long_part("position"), _bytes("hash"))
    op.create_table("heads", _station(), _long_part("size"), _bytes("root"), _word("cosignature"), _word("at"))
    op.create_table("files", _station(), sa.Column("name", WORD, primary_key=True), _bytes("sha256"), _long("size"),
                    _word("at"))


def _what_went_wrong() -> None:
    op.create_table("alarms", sa.Column("alarm", sa.Integer, primary_key=True),
                    sa.Column("station", sa.Integer, sa.ForeignKey("stations.station"), nullable=False), _word("at"),
                    _word("what"), sa.Column("seq", sa.BigInteger), _word("held"), _word("told"), _word("detail"))
    op.create_index("alarms_by_station", "alarms", ["station"])
    op.create_table("settlements", sa.Column("alarm", sa.Integer, sa.ForeignKey("alarms.alarm"), primary_key=True,
                                             autoincrement=False),
                    _word("at"), _word("person"), _word("reason"))


def _index() -> None:
    op.create_table("setups", sa.Column("setup", sa.Integer, primary_key=True),
                    sa.Column("station", sa.Integer, sa.ForeignKey("stations.station"), nullable=False),
                    _bytes("digest"), _word("motor_type"), _word("limit_file"), _word("limit_revision"),
                    _word("limit_sha256"), _word("sequence_sha256"), _word("software"), _word("software_sha256"))
    op.create_index("setups_once", "setups", ["station", "digest"], unique=True)
    op.create_table("setup_instruments", sa.Column("setup", sa.Integer, sa.ForeignKey("setups.setup"),
                                                   primary_key=True, autoincrement=False),
                    _part("number"), _word("role"), _word("serial"), _word("certificate"))
    op.create_index("setups_by_instrument", "setup_instruments", ["serial"])
    op.create_index("setups_by_certificate", "setup_instruments", ["certificate"])
    op.create_table("records", _part("station"), _long_part("seq"), _word("serial"), _number("run"), _word("verdict"),
                    _word("purpose"), _word("started"),
                    sa.Column("setup", sa.Integer, sa.ForeignKey("setups.setup"), nullable=False), _entry())
    op.create_index("records_by_serial", "records", ["serial", "station", "run"])
    op.create_index("records_by_setup", "records", ["setup", "started", "seq"],
                    postgresql_include=["station", "serial", "run", "verdict", "purpose"])
    op.create_table("corrections", _part("station"), _long_part("seq"), _word("what"), _long("of"), _entry())
    op.create_index("corrections_by_record", "corrections", ["station", "of"])
    op.create_table("day_sums", sa.Column("day", WORD, primary_key=True),
                    sa.Column("motor_type", WORD, primary_key=True),
                    sa.Column("station", sa.Integer, sa.ForeignKey("stations.station"), primary_key=True,
                              autoincrement=False),
                    _number("motors"), _number("passed_first"), _number("passed_last"))


def _only_added() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.execute(_POSTGRESQL)
        for table in TABLES:
            op.execute(_OF_POSTGRESQL.format(table=table, verbs=" OR ".join(_forbidden(table))))
        return
    for table in TABLES:
        for verb in _forbidden(table):
            op.execute(_OF_SQLITE.format(table=table, verb=verb))


def _forbidden(table: str) -> tuple[str, ...]:
    return ("DELETE",) if table in SUMS else ("UPDATE", "DELETE")
