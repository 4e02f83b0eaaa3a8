"""Questions across all stations, answered by the index alone: a motor, what an instrument has tested, yield by day."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, and_, exists, func, or_, select

from station.audit.trace import Question
from station.plant.schema import corrections, day_sums, records, setup_instruments, setups, stations

_AFTER = "~"        # behind whatever an instant in ISO 8601 goes on with
_LAST = "\U0010ffff"


@dataclass(frozen=True, slots=True)
class Found:
    """A test at some station, as far as a list needs it; `seq` is its place in the log of that station."""

    origin: str
    seq: int
    serial: str
    run: int
    motor_type: str
    verdict: str
    purpose: str
    started: str
    is_void: bool

    def as_json(self) -> dict[str, Any]:
        """Return it as `--json` prints it."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class DayYield:
    """The motors of a day: how many have a result, and passed in their first and in their last run with one."""

    day: str
    motors: int
    passed_first: int
    passed_last: int

    @property
    def first_pass(self) -> float | None:
        """First-pass yield, 0…1; None without a motor."""
        return self.passed_first / self.motors if self.motors else None


def find_tests(connection: Connection, serial: str) -> list[Found]:
    """Return every test of a motor, by station and run; of all motors whose serial begins so if it ends in *."""
    begins = serial.removesuffix("*")
    fits = records.c.serial == serial if begins == serial else and_(records.c.serial >= begins,
                                                                    records.c.serial < begins + _LAST)
    query = _tests().where(fits).order_by(records.c.serial, records.c.station, records.c.run)
    return _found(connection, query)


def trace_tests(connection: Connection, question: Question, most: int) -> list[Found]:
    """Return the first `most` tests that fit, station by station and in the order of their time there."""
    found: list[Found] = []
    for setup in _setups(connection, question):
        if len(found) >= most:
            break
        query = _tests().where(records.c.setup == setup)
        if question.since:
            query = query.where(records.c.started >= question.since)
        if question.until:
            query = query.where(records.c.started <= question.until + _AFTER)
        # Setup by setup, so that the index gives the rows in order, however many there are.
        in_order = query.order_by(records.c.started, records.c.seq).limit(most - len(found))
        found += _found(connection, in_order)
    return found


def origins_with(connection: Connection, question: Question) -> list[str]:
    """Return the names of the logs with tests that fit; dates are not looked at."""
    fitting = list(_setups(connection, question))
    query = select(stations.c.origin).join(setups, setups.c.station == stations.c.station).distinct()
    rows = connection.execute(query.where(setups.c.setup.in_(fitting)).order_by(stations.c.origin))
    return list(rows.scalars())


def yield_by_day(connection: Connection, *, since: str = "", until: str = "", motor_type: str = "", origin: str = ""
                 ) -> list[DayYield]:
    """Return the yield of each day with motors, of the stations together; a motor counts once at each station.

    `since` and `until` are days, both included; the day is that of a motor's first run that counts, by the clock of
    its station.
    """
    sums = [func.sum(column).label(column.name) for column in (day_sums.c.motors, day_sums.c.passed_first,
                                                               day_sums.c.passed_last)]
    query = select(day_sums.c.day, *sums).group_by(day_sums.c.day).order_by(day_sums.c.day)
    if since:
        query = query.where(day_sums.c.day >= since[:10])
    if until:
        query = query.where(day_sums.c.day <= until[:10])
    if motor_type:
        query = query.where(day_sums.c.motor_type == motor_type)
    if origin:
        query = query.where(day_sums.c.station == select(stations.c.station).where(stations.c.origin == origin)
                            .scalar_subquery())
    rows = (DayYield(row.day, int(row.motors), int(row.passed_first), int(row.passed_last))
            for row in connection.execute(query))
    return [row for row in rows if row.motors]


def _tests() -> Select[Any]:
    is_void = exists().where(corrections.c.station == records.c.station, corrections.c.of == records.c.seq,
                             corrections.c.what == "void")
    return (select(stations.c.origin, records.c.seq, records.c.serial, records.c.run, setups.c.motor_type,
                   records.c.verdict, records.c.purpose, records.c.started, is_void.label("is_void"))
            .join(setups, records.c.setup == setups.c.setup).join(stations, records.c.station == stations.c.station))


def _found(connection: Connection, query: Select[Any]) -> list[Found]:
    return [Found(row.origin, row.seq, row.serial, row.run, row.motor_type, row.verdict, row.purpose, row.started,
                  bool(row.is_void)) for row in connection.execute(query)]


def _setups(connection: Connection, question: Question) -> Iterator[int]:
    """Yield the setups that fit, by station and in the order in which they came."""
    conditions = [*_instruments(question), *_limits(question), *_software(question)]
    if question.motor_type:
        conditions.append(setups.c.motor_type == question.motor_type)
    query = select(setups.c.setup).where(*conditions).order_by(setups.c.station, setups.c.setup)
    yield from connection.execute(query).scalars().all()


def _instruments(question: Question) -> list[ColumnElement[bool]]:
    if not (question.instrument or question.certificate):
        return []
    one = exists().where(setup_instruments.c.setup == setups.c.setup)
    if question.instrument:
        one = one.where(setup_instruments.c.serial == question.instrument)
    if question.certificate:
        one = one.where(setup_instruments.c.certificate == question.certificate)
    return [one]


def _limits(question: Question) -> list[ColumnElement[bool]]:
    if not question.limits:
        return []
    named = setups.c.limit_file + " " + setups.c.limit_revision == question.limits
    return [or_(setups.c.limit_sha256.startswith(question.limits.lower(), autoescape=True), named)]


def _software(question: Question) -> list[ColumnElement[bool]]:
    if not question.software:
        return []
    hashed = setups.c.software_sha256.startswith(question.software.lower(), autoescape=True)
    return [or_(setups.c.software == question.software, hashed)]
