"""When a reference check is due: times, changes, what happened since; the clock is always given."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.record.reference_check import Since
from station.sequence.reference_due import Conditions, Rules, rules_of, shift_start, why_due
from station.sequence.station_file import Reference

RULES = Rules((time(6), time(14), time(22)), UTC, timedelta(hours=12), after_changeover=True)
PRESENT = Conditions("CP-40", "b" * 64, "s" * 64, "0.1.0", {"CP40-R001": "1", "CP40-R002": "2"})
QUIET = Since(None, None)
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def made(number=1, result="GOOD", motor_type="CP-40", started=NOON - timedelta(hours=1)):
    return {"check": number, "motor_type": motor_type, "result": result, "started": started.isoformat(),
            "bench_sha256": "b" * 64, "sequence_sha256": "s" * 64, "software": "0.1.0",
            "motors": [{"serial": "CP40-R001", "sha256": "1"}, {"serial": "CP40-R002", "sha256": "2"}]}


def due(checks, *, rules=RULES, since=QUIET, present=PRESENT, now=NOON):
    found = why_due(rules, checks, since, present, now)
    return None if found is None else str(found)


def test_a_good_check_in_this_shift_holds():
    assert due([made()]) is None


def test_without_any_check_of_the_type_one_is_due():
    assert "no reference check of CP-40" in due([])
    assert "no reference check of CP-40" in due([made(motor_type="VB-24")])


@pytest.mark.parametrize("result", ["BAD", "NO RESULT"])
def test_only_the_newest_check_counts(result):
    assert result in due([made(1), made(2, result)])
    assert due([made(1, result), made(2)]) is None


def test_a_bad_check_of_another_type_on_the_same_bench_counts():
    assert "VB-24, was BAD" in due([made(1), made(2, "BAD", "VB-24")])
    assert due([made(1, "BAD", "VB-24"), made(2)]) is None
    assert due([made(1), made(2, "NO RESULT", "VB-24")]) is None


@pytest.mark.parametrize(("change", "words"), [
    ({"bench_sha256": "c" * 64}, "bench file"), ({"sequence_sha256": "c" * 64}, "sequence"),
    ({"software": "0.2.0"}, "software"), ({"references": {"CP40-R001": "1", "CP40-R002": "3"}}, "reference file"),
    ({"references": {"CP40-R001": "1", "CP40-R002": "2", "CP40-R003": "3"}}, "reference file"),
])
def test_a_change_makes_it_due(change, words):
    assert words in due([made()], present=replace(PRESENT, **change))


def test_an_interrupted_test_and_a_changeover_make_it_due():
    assert "CP40-0007 was interrupted" in due([made()], since=Since("CP40-0007", None))
    assert "VB-24" in due([made()], since=Since(None, "VB-24"))
    assert due([made()], since=Since(None, "VB-24"), rules=replace(RULES, after_changeover=False)) is None
    assert due([made()], since=Since("CP40-0007", None), rules=replace(RULES, after_changeover=False))


def test_the_next_shift_needs_its_own():
    checked = made(started=datetime(2026, 11, 25, 13, 59, tzinfo=UTC))
    assert due([checked], now=datetime(2026, 11, 25, 13, 59, 59, tzinfo=UTC)) is None
    assert "before this shift" in due([checked], now=datetime(2026, 11, 25, 14, 0, tzinfo=UTC))


def test_a_clock_set_back_makes_it_due():
    assert "set back" in due([made(started=NOON + timedelta(seconds=1))])


INSTANTS = st.datetimes(datetime(2026, 1, 1), datetime(2027, 12, 31), timezones=st.just(UTC))  # noqa: DTZ001
SHIFTS = st.lists(st.times().map(lambda t: t.replace(tzinfo=None, fold=0)), max_size=4).map(tuple)
ZONES = st.sampled_from(["UTC", "Europe/Vienna", "America/New_York", "Asia/Kolkata", "Australia/Lord_Howe"])


@given(INSTANTS, SHIFTS, ZONES)
def test_the_shift_began_within_the_last_day_or_so_and_not_after_now(now, starts, zone):
    rules = replace(RULES, shift_starts=starts, zone=ZoneInfo(zone))
    start = shift_start(rules, now)
    assert (start is None) == (not starts)
    if start is not None:
        assert timedelta() <= now - start <= timedelta(hours=25)      # the longest day of the year
        assert shift_start(rules, start) == start


@given(INSTANTS, st.timedeltas(timedelta(), timedelta(hours=60)), SHIFTS, ZONES,
       st.floats(0.5, 48.0).map(lambda h: timedelta(hours=h)))
def test_it_is_due_exactly_when_a_shift_began_or_the_time_ran_out_since(checked, passed, starts, zone, longest):
    rules = Rules(starts, ZoneInfo(zone), longest, after_changeover=True)
    now = checked + passed
    # every start of a shift on the days around, written out
    began = any(checked < at <= now for back in range(-1, 5) for start in starts
                for at in [datetime.combine((now - timedelta(days=back)).date(), start,
                                            ZoneInfo(zone)).astimezone(UTC)])
    assert (due([made(started=checked)], rules=rules, now=now) is not None) == (began or passed > longest)


@given(INSTANTS, st.timedeltas(timedelta(), timedelta(hours=60)), st.timedeltas(timedelta(), timedelta(hours=60)))
def test_once_due_it_stays_due_until_the_next_check(checked, first, more):
    if due([made(started=checked)], now=checked + first) is not None:
        assert due([made(started=checked)], now=checked + first + more) is not None
    assert due([made(started=checked), made(2, started=checked + first)], now=checked + first) is None


def test_rules_of_the_station_file():
    rules = rules_of(Reference(required=True, shift_starts=[time(6)], time_zone="Europe/Vienna", longest_h=8.5,
                               after_changeover=False))
    assert shift_start(rules, datetime(2026, 7, 1, 4, 0, tzinfo=UTC)) == datetime(2026, 7, 1, 4, 0, tzinfo=UTC)
    assert (rules.longest, rules.after_changeover) == (timedelta(hours=8.5), False)
