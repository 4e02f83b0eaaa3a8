"""Accounts, sign-ins, sessions and the trail."""

import json
import sqlite3
from dataclasses import replace
from datetime import timedelta

import pytest

from station.clock import system_clock
from station.errors import UsageError
from station.record.trail_entry import chained
from station.screens.access import Role
from station.screens.people import DATABASE, People
from station.screens.sessions import IDLE, LONGEST, Sessions
from station.screens.trail import Trail

WORD = "long enough a word"


@pytest.fixture
def people(tmp_path):
    return People(tmp_path / "people", system_clock())


def later(clock, by):
    return replace(clock, utc=lambda: clock.utc() + by)


def test_a_badge_names_an_operator_whatever_else_its_owner_may(people):
    people.add("A. Pirol", [Role.OPERATOR, Role.ENGINEER], password=WORD, badge="B-7")
    assert people.by_badge("B-7").roles == {Role.OPERATOR}
    assert people.by_password("A. Pirol", WORD).roles == {Role.OPERATOR, Role.ENGINEER}


def test_neither_badge_nor_password_lies_in_the_file(people):
    people.add("A. Pirol", [Role.ENGINEER], password=WORD, badge="B-7-SECRET")
    content = (people.folder / DATABASE).read_bytes()
    assert WORD.encode() not in content
    assert b"B-7-SECRET" not in content


@pytest.mark.parametrize(("name", "password"), [("A. Pirol", "another word"), ("B. Pirol", WORD), ("", ""),
                                                ("A. Pirol", ""), ("A. Pirol' OR 1=1 --", WORD)])
def test_a_wrong_name_or_password_signs_nobody_in(people, name, password):
    people.add("A. Pirol", [Role.ENGINEER], password=WORD)
    assert people.by_password(name, password) is None


def test_somebody_disabled_signs_in_no_more_and_is_out_at_once(people):
    people.add("A. Pirol", [Role.OPERATOR], badge="B-7")
    sessions = Sessions(people, system_clock())
    token = sessions.begin(people.by_badge("B-7"), "here")
    people.disable("A. Pirol")
    assert sessions.who(token) is None
    assert people.by_badge("B-7") is None
    with pytest.raises(UsageError, match="no such account"):
        people.disable("A. Pirol")


@pytest.mark.parametrize("words", [
    {"name": " ", "roles": [Role.OPERATOR], "badge": "B"}, {"name": "x\ny\x00", "roles": [Role.OPERATOR], "badge": "B"},
    {"name": "A", "roles": [], "badge": "B"}, {"name": "A", "roles": [Role.OPERATOR]},
    {"name": "A", "roles": [Role.ENGINEER], "badge": "B"}, {"name": "A", "roles": [Role.ENGINEER], "password": "short"},
    {"name": "A", "roles": [Role.ENGINEER], "password": "x" * 129}])
def test_an_account_that_cannot_be(people, words):
    name, roles = words.pop("name"), words.pop("roles")
    with pytest.raises(UsageError):
        people.add(name, roles, **words)
    assert people.all() == []


def test_two_people_have_neither_one_name_nor_one_badge(people):
    people.add("A. Pirol", [Role.OPERATOR], badge="B-7")
    for name, badge in (("A. Pirol", "B-8"), ("C. Pirol", "B-7")):
        with pytest.raises(UsageError, match="known already"):
            people.add(name, [Role.OPERATOR], badge=badge)


def test_sessions_end_by_idleness_by_age_and_by_hand(people):
    people.add("A. Pirol", [Role.ENGINEER], password=WORD)
    clock, person = system_clock(), people.by_password("A. Pirol", WORD)
    token = Sessions(people, clock).begin(person, "here")
    assert Sessions(people, later(clock, IDLE[False] - timedelta(seconds=5))).who(token).name == "A. Pirol"
    assert Sessions(people, later(clock, 2 * IDLE[False])).who(token) is None
    assert Sessions(people, clock).who(token) is None     # for good
    token = Sessions(people, clock).begin(person, "here")
    step = timedelta(minutes=14)
    for n in range(1, int(LONGEST / step) + 1):
        assert Sessions(people, later(clock, n * step)).who(token)
    assert Sessions(people, later(clock, LONGEST + timedelta(minutes=10))).who(token) is None
    token = Sessions(people, clock).begin(person, "here")
    Sessions(people, clock).end(token)
    assert Sessions(people, clock).who(token) is None
    assert Sessions(people, clock).who("") is None


def test_a_new_sign_in_ends_the_session_before_it(people):
    people.add("A. Pirol", [Role.OPERATOR], badge="B-7")
    sessions = Sessions(people, system_clock())
    first = sessions.begin(people.by_badge("B-7"), "here")
    second = sessions.begin(people.by_badge("B-7"), "here", ending=first)
    assert (sessions.who(first), sessions.who(second).name) == (None, "A. Pirol")


def test_the_trail_is_a_chain_that_is_only_added_to(people):
    trail = Trail(people, system_clock())
    for what in ("sign in", "scan\nsign out"):
        trail.add("A. Pirol", what.split("\n")[0], where="here", about=what)
    rows = trail.entries()
    assert [number for number, _ in rows] == [1, 2]
    assert json.loads(rows[1][1])["about"] == "scan�sign out"
    with people.connection() as connection:
        held = [row[0] for row in connection.execute("SELECT chained FROM trail ORDER BY number")]
        assert held == [chained(bytes(32), rows[0][1]), chained(held[0], rows[1][1])]
    for attack in ("UPDATE trail SET body = x'00'", "DELETE FROM trail"):
        with pytest.raises(sqlite3.IntegrityError, match="never changed"), people.connection() as connection:
            connection.execute(attack)
