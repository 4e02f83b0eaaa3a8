"""Questions across stations, held to what each station's own store answers."""

import random
from datetime import UTC, datetime

import pytest
from sending_station import INSTRUMENTS, SendingStation

from station.audit import trace
from station.audit.trace import Question
from station.plant.intake import Intake
from station.plant.questions import find_tests, trace_tests, yield_by_day
from station.plant.stations import add_station
from station.record.cosignature import WitnessKey

AT = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)
DAYS = ["2026-11-23", "2026-11-24", "2026-11-25"]
TYPES = ["CP-40", "VB-24"]
RECALIBRATED = [{**INSTRUMENTS[0], "certificate": "C-200"}, INSTRUMENTS[1]]
MOTORS, TESTS = 12, 60


def worked(station, seed):
    """Let a station test some motors several times, as lines do, declare a few runs void, and return it."""
    chosen, done = random.Random(seed), []
    for _ in range(TESTS):
        serial = f"CP40-{chosen.randrange(MOTORS):03d}"
        record = station.test(
            serial, chosen.choice(["PASS", "PASS", "FAIL", "NO RESULT"]), f"{chosen.choice(DAYS)}T10:00:00.000Z",
            motor_type=chosen.choice(TYPES), purpose=chosen.choice(["", "", "", "reference check"]),
            instruments=chosen.choice([INSTRUMENTS, RECALIBRATED]), revision=chosen.choice("CD"))
        if not record.get("purpose"):
            done.append(record)
        if chosen.random() < 0.2 and done:
            station.void(done.pop(chosen.randrange(len(done))))
    return station


@pytest.fixture(scope="module")
def working(tmp_path_factory):
    folder = tmp_path_factory.mktemp("stations")
    stations = [worked(SendingStation(folder / f"store-{number}", f"line-{number}"), number) for number in (1, 2)]
    yield stations
    for one in stations:
        one.close()


@pytest.fixture(scope="module")
def connection(working, shared_database, tmp_path_factory):
    """The plant's database, with everything handed over in portions of odd sizes."""
    intake = Intake(shared_database, WitnessKey.make(tmp_path_factory.mktemp("keys"), "plant"))
    for station in working:
        known = add_station(shared_database, str(station.key.verifier), person="U. Rabe", at=AT)
        first = 0
        while first < station.size:
            end = min(first + random.Random(first).randint(1, 9), station.size)
            intake.take(known, station.batch(first, end), AT)
            first = end
    with shared_database.reading() as opened:
        yield opened


def test_yield_by_day_is_that_of_the_stores(connection, working):
    for days in (DAYS, DAYS[:1], DAYS[1:]):
        expected = {day: [store_yield(station, day) for station in working] for day in days}
        found = yield_by_day(connection, since=days[0], until=days[-1])
        assert {day.day: (day.motors, day.passed_first, day.passed_last) for day in found} == {
            day: tuple(map(sum, zip(*counts, strict=True))) for day, counts in expected.items()}


@pytest.mark.parametrize("motor_type", TYPES)
def test_yield_of_a_station_and_a_type_is_that_of_its_store(connection, working, motor_type):
    for station in working:
        found = yield_by_day(connection, motor_type=motor_type, origin=station.key.name)
        assert {day.day: (day.motors, day.passed_first, day.passed_last) for day in found} == {
            day: counts for day in DAYS if (counts := store_yield(station, day, motor_type))[0]}


def store_yield(station, day, motor_type=None):
    counted = station.store.count_yield(since=day, until=day, motor_type=motor_type)
    return counted.motors, counted.passed_first, counted.passed_last


def test_a_motor_is_found_at_every_station(connection, working):
    for number in range(MOTORS):
        serial = f"CP40-{number:03d}"
        expected = [(station.key.name, record["log"]["seq"], record["run"], record["verdict"], record["started"],
                     record["motor_type"]["name"]) for station in working for record in station.store.show(serial)]
        found = find_tests(connection, serial)
        assert [(each.origin, each.seq, each.run, each.verdict, each.started, each.motor_type)
                for each in found] == expected
        voids = {(said["log"]["origin"], said["of"]["seq"]) for station in working
                 for said in station.store.statements("correction")}
        assert [each.is_void for each in found] == [(each.origin, each.seq) in voids for each in found]


def test_a_beginning_finds_whatever_goes_on_from_it(connection):
    assert len(find_tests(connection, "CP40-*")) == 2 * TESTS
    assert {each.serial for each in find_tests(connection, "CP40-00*")} <= {f"CP40-00{last}" for last in range(10)}
    assert find_tests(connection, "CP40-") == []
    assert find_tests(connection, "CP40-001%") == []


@pytest.mark.parametrize("question", [
    Question(instrument="DG-7"), Question(instrument="DG-8"), Question(certificate="C-200"),
    Question(instrument="OM-3", certificate="C-200"), Question(instrument="DG-7", certificate="C-100"),
    Question(limits="CP-40.toml D"), Question(limits=f"{ord('C'):064x}"), Question(limits="%"),
    Question(software="0.1.0"), Question(software="ABAB"), Question(software="0.1"),
    Question(since=DAYS[1]), Question(until=DAYS[1]), Question(since=DAYS[1], until=DAYS[1], motor_type="VB-24"),
    Question(since=f"{DAYS[1]}T10:00:00.001Z")])
def test_traces_are_those_of_the_stores(connection, working, question):
    expected = sorted((station.key.name, each.seq, each.serial, each.run, each.motor_type, each.verdict, each.started)
                      for station in working for each in trace.trace(station.folder, question))
    found = trace_tests(connection, question, 10_000)
    assert sorted((each.origin, each.seq, each.serial, each.run, each.motor_type, each.verdict, each.started)
                  for each in found) == expected


def test_a_trace_is_in_the_order_of_time_within_a_setup(connection, working):
    question = Question(certificate="C-200", limits="CP-40.toml D")     # one setup at each station
    found = trace_tests(connection, question, 10_000)
    assert [each.origin for each in found] == sorted(each.origin for each in found)
    for station in working:
        of_one = [(each.started, each.seq) for each in found if each.origin == station.key.name]
        assert of_one == sorted(of_one)
        assert [seq for _, seq in of_one] != sorted(seq for _, seq in of_one)   # as they came is another order


def test_a_long_trace_is_cut_where_it_is_told_to(connection):
    whole = trace_tests(connection, Question(instrument="DG-7"), 10_000)
    for most in (1, 7, 50, len(whole)):
        assert trace_tests(connection, Question(instrument="DG-7"), most) == whole[:most]
