"""The tables of the plant, the same for PostgreSQL and SQLite; rows are added, never removed, and but for sums never
changed.

`stations`, `entries`, `nodes`, `heads` and `files` are what was handed over. `alarms` and `settlements` are what went
wrong and who has dealt with it. All others are an index: they repeat what bodies say, for searching.
"""

from sqlalchemy import (
    BigInteger,
    Column,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
)
from sqlalchemy.dialects.postgresql import TEXT

# By code points, as SQLite compares texts: instants in ISO 8601 then stand in order whatever the server's language is.
WORD = Text().with_variant(TEXT(collation="C"), "postgresql")

metadata = MetaData()


def _station() -> Column[int]:
    return Column("station", Integer, ForeignKey("stations.station"), primary_key=True)


def _seq() -> Column[int]:
    return Column("seq", BigInteger, primary_key=True, autoincrement=False)


def _station_of_entry() -> Column[int]:
    return Column("station", Integer, primary_key=True, autoincrement=False)


def _of_entry() -> ForeignKeyConstraint:
    return ForeignKeyConstraint(["station", "seq"], ["entries.station", "entries.seq"])


stations = Table(
    "stations", metadata,
    Column("station", Integer, primary_key=True),
    Column("origin", WORD, nullable=False, unique=True),
    Column("verifier", WORD, nullable=False),           # text of the log's public key
    Column("added", WORD, nullable=False),
    Column("person", WORD, nullable=False),
)
# logs of which nothing more is taken: their station has another one now, or their key is no secret any more
ends = Table(
    "ends", metadata, _station(),
    Column("at", WORD, nullable=False),
    Column("person", WORD, nullable=False),
    Column("reason", WORD, nullable=False),
)
entries = Table(
    "entries", metadata, _station(), _seq(),
    Column("kind", WORD, nullable=False),
    Column("subject", BigInteger, nullable=False),
    Column("leaf", LargeBinary, nullable=False),
    Column("checkpoint", WORD, nullable=False),         # signed note of the head that this entry made
    Column("body", LargeBinary, nullable=False),
)
# complete subtrees from level 1 on, as in a station's store
nodes = Table(
    "nodes", metadata, _station(),
    Column("level", Integer, primary_key=True, autoincrement=False),
    Column("position", BigInteger, primary_key=True, autoincrement=False),
    Column("hash", LargeBinary, nullable=False),
)
heads = Table(
    "heads", metadata, _station(),
    Column("size", BigInteger, primary_key=True, autoincrement=False),
    Column("root", LargeBinary, nullable=False),
    Column("cosignature", WORD, nullable=False),        # of the plant, one line
    Column("at", WORD, nullable=False),                 # by the plant's clock
)
files = Table(
    "files", metadata, _station(),
    Column("name", WORD, primary_key=True),             # in the station's store
    Column("sha256", LargeBinary, nullable=False),
    Column("size", BigInteger, nullable=False),
    Column("at", WORD, nullable=False),
)
alarms = Table(
    "alarms", metadata,
    Column("alarm", Integer, primary_key=True),
    Column("station", Integer, ForeignKey("stations.station"), nullable=False),
    Column("at", WORD, nullable=False),
    Column("what", WORD, nullable=False),
    Column("seq", BigInteger),                          # first entry known to differ
    Column("held", WORD, nullable=False),               # signed head of the plant's copy
    Column("told", WORD, nullable=False),               # signed head that contradicts it
    Column("detail", WORD, nullable=False),
    Index("alarms_by_station", "station"),
)
settlements = Table(
    "settlements", metadata,
    Column("alarm", Integer, ForeignKey("alarms.alarm"), primary_key=True, autoincrement=False),
    Column("at", WORD, nullable=False),
    Column("person", WORD, nullable=False),
    Column("reason", WORD, nullable=False),
)
# what the tests of a station have in common for weeks: one row each time that something of it changes
setups = Table(
    "setups", metadata,
    Column("setup", Integer, primary_key=True),
    Column("station", Integer, ForeignKey("stations.station"), nullable=False),
    Column("digest", LargeBinary, nullable=False),      # of the other columns and of the instruments
    Column("motor_type", WORD, nullable=False),
    Column("limit_file", WORD, nullable=False),
    Column("limit_revision", WORD, nullable=False),
    Column("limit_sha256", WORD, nullable=False),
    Column("sequence_sha256", WORD, nullable=False),
    Column("software", WORD, nullable=False),
    Column("software_sha256", WORD, nullable=False),
    Index("setups_once", "station", "digest", unique=True),
)
setup_instruments = Table(
    "setup_instruments", metadata,
    Column("setup", Integer, ForeignKey("setups.setup"), primary_key=True, autoincrement=False),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("role", WORD, nullable=False),
    Column("serial", WORD, nullable=False),
    Column("certificate", WORD, nullable=False),
    Index("setups_by_instrument", "serial"),
    Index("setups_by_certificate", "certificate"),
)
records = Table(
    "records", metadata, _station_of_entry(), _seq(),
    Column("serial", WORD, nullable=False),
    Column("run", Integer, nullable=False),
    Column("verdict", WORD, nullable=False),
    Column("purpose", WORD, nullable=False),            # empty in the production
    Column("started", WORD, nullable=False),            # by the station's clock
    Column("setup", Integer, ForeignKey("setups.setup"), nullable=False),
    _of_entry(),
    Index("records_by_serial", "serial", "station", "run"),
    # With all that a trace lists: its rows, which came from many stations by turns, lie on as many pages of the table.
    Index("records_by_setup", "setup", "started", "seq",
          postgresql_include=["station", "serial", "run", "verdict", "purpose"]),
)
corrections = Table(
    "corrections", metadata, _station_of_entry(), _seq(),
    Column("what", WORD, nullable=False),
    Column("of", BigInteger, nullable=False),           # seq of the record
    _of_entry(),
    Index("corrections_by_record", "station", "of"),
)
# Sums of a day, which grow in the transaction of the entries that change them: the only rows that do. With a row for
# each motor instead, millions would be added up for the yield of a month.
day_sums = Table(
    "day_sums", metadata,
    Column("day", WORD, primary_key=True),              # of the motor's first run that counts
    Column("motor_type", WORD, primary_key=True),
    Column("station", Integer, ForeignKey("stations.station"), primary_key=True, autoincrement=False),
    Column("motors", Integer, nullable=False),
    Column("passed_first", Integer, nullable=False),
    Column("passed_last", Integer, nullable=False),
)
