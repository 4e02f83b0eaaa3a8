"""Nobody tries names, passwords or badges by the thousand, and who tries costs the station little."""

import threading

import httpx
import pytest
from argon2.exceptions import VerifyMismatchError
from hypothesis import given, settings
from hypothesis import strategies as st

from station.clock import system_clock
from station.screens.access import Role
from station.screens.attempts import REMEMBERED, Attempts, PatienceError, Source, Turns, by_badge, by_computer, by_name
from station.screens.people import AT_ONCE, LONGEST, WAITING, People

SOURCE = Source("computer here", 3, 60.0)


def tried(attempts, now, *sources):
    try:
        attempts.begin(now, *sources)
    except PatienceError:
        return False
    return True


@settings(deadline=None)
@given(st.lists(st.floats(0.0, 30.0), max_size=60))
def test_never_more_than_the_limit_in_any_stretch_of_time(gaps):
    attempts, now, let = Attempts(), 0.0, []
    for gap in gaps:
        now += gap
        if tried(attempts, now, SOURCE):
            let.append(now)
    for at in let:
        assert sum(at <= other <= at + SOURCE.within_s for other in let) <= SOURCE.most


def test_a_try_that_succeeds_does_not_count():
    attempts = Attempts()
    for n in range(20):
        assert tried(attempts, float(n), SOURCE)
        attempts.forgive(SOURCE)


def test_tries_under_way_count_so_that_many_at_once_are_no_way_around():
    attempts, let = Attempts(), []
    threads = [threading.Thread(target=lambda: let.append(tried(attempts, 0.0, SOURCE))) for _ in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert let.count(True) == SOURCE.most


def test_a_name_is_the_same_however_it_is_typed_and_apart_at_the_panel():
    assert by_name(" r.  FINK", at_panel=False) == by_name("R. Fink", at_panel=False)
    assert by_name("R. Fink", at_panel=True) != by_name("R. Fink", at_panel=False)
    assert by_computer("10.0.0.1") != by_computer("10.0.0.2")


def test_one_name_from_many_computers_is_held_up_elsewhere_and_not_at_the_panel():
    attempts = Attempts()
    away, here = by_name("R. Fink", at_panel=False), by_name("R. Fink", at_panel=True)
    assert all(tried(attempts, 0.0, by_computer(f"10.0.0.{n}"), away) for n in range(away.most))
    assert not tried(attempts, 0.0, by_computer("10.0.1.1"), away)
    assert tried(attempts, 0.0, by_computer("127.0.0.1"), here)
    assert tried(attempts, away.within_s + 1, by_computer("10.0.1.1"), away)


def test_what_is_remembered_has_an_end():
    attempts = Attempts()
    for n in range(REMEMBERED + 50):
        attempts.begin(0.0, by_computer(str(n)))
    assert len(attempts._when) == REMEMBERED


def test_two_at_a_time_six_wait_and_the_next_is_turned_away():
    turns, inside, most, turned = Turns(2, 6), [], [], []
    go, lock = threading.Event(), threading.Lock()

    def come():
        try:
            with turns.taken():
                with lock:
                    inside.append(1)
                    most.append(len(inside))
                go.wait(30)
                with lock:
                    inside.pop()
        except PatienceError:
            turned.append(1)

    threads = [threading.Thread(target=come) for _ in range(12)]
    for thread in threads:
        thread.start()
    while len(turned) < 4:
        threads[0].join(0.01)
    go.set()
    for thread in threads:
        thread.join()
    assert (max(most), len(most), len(turned)) == (2, 8, 4)
    with turns.taken():     # and all have given their turns back
        pass


def test_passwords_are_hashed_two_at_a_time(tmp_path, monkeypatch):
    people = People(tmp_path, system_clock())
    people.add("A. Pirol", [Role.ENGINEER], password="a password for tests")
    lock, now, most, let = threading.Lock(), [], [], []
    verify = people._hasher.verify

    class Counting:
        def verify(self, *words):
            with lock:
                now.append(1)
                most.append(len(now))
            try:
                return verify(*words)
            finally:
                with lock:
                    now.pop()

    monkeypatch.setattr(people, "_hasher", Counting())
    threads = [threading.Thread(target=lambda: let.append(people.by_password("A. Pirol", "a password for tests")))
               for _ in range(AT_ONCE + WAITING)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert max(most) == AT_ONCE
    assert [person.name for person in let] == ["A. Pirol"] * (AT_ONCE + WAITING)


def test_a_password_counts_whole(tmp_path):
    people = People(tmp_path, system_clock())
    people.add("A. Pirol", [Role.ENGINEER], password="x" * LONGEST)
    assert people.by_password("A. Pirol", "x" * LONGEST) is not None
    assert people.by_password("A. Pirol", "x" * (LONGEST + 1)) is None


@pytest.fixture
def patient(site, monkeypatch):
    """The site with nothing tried yet, and nothing left of it for the tests after."""
    fresh = Attempts()
    monkeypatch.setattr(Attempts, "begin", lambda _self, now, *sources: ORIGINAL(fresh, now, *sources))
    return site


ORIGINAL = Attempts.begin


def test_wrong_passwords_over_the_pages(asked, patient, accounts):
    client = asked()
    wrong = accounts[Role.AUDITOR] | {"password": "a wrong password"}
    answers = [client.post("/sign-in", data=wrong).status_code for _ in range(12)]
    assert answers == [401] * 10 + [429] * 2
    spoofed = client.post("/sign-in", data=wrong, headers={"x-forwarded-for": "10.9.8.7", "forwarded": "for=10.9.8.7"})
    assert spoofed.status_code == 429       # nobody is believed about where a request came from
    assert "Wait some minutes" in spoofed.text


def test_badges_read_one_after_the_other_while_nobody_is_signed_in(asked, patient):
    client = asked()
    answers = [client.post("/line/scan", data={"text": f"B-{n}"}).status_code for n in range(32)]
    assert answers == [303] * by_badge("").most + [429] * 2


def test_what_a_request_says_of_where_it_came_from_is_not_in_the_trail(address, site):
    with httpx.Client(base_url=address, headers={"origin": address, "x-forwarded-for": "10.9.8.7"}) as client:
        client.post("/sign-in", data={"name": "R. Fink", "password": "wrong"})
    assert b"10.9.8.7" not in b"".join(body for _, body in site.trail.entries())


def test_a_name_that_nobody_has_costs_as_much_and_is_refused_in_the_same_words(tmp_path, monkeypatch, asked, patient):
    people, asked_for = People(tmp_path, system_clock()), []
    people.add("A. Pirol", [Role.ENGINEER], password="a password for tests")

    class Counting:
        def verify(self, known, _password):
            asked_for.append(known.rsplit("$", 2)[0])       # how it is hashed, without salt and hash
            raise VerifyMismatchError

    monkeypatch.setattr(people, "_hasher", Counting())
    for name, password in (("A. Pirol", "wrong"), ("nobody", "wrong"), ("A. Pirol", "x" * 500)):
        assert people.by_password(name, password) is None
    assert len(asked_for) == 3
    assert len(set(asked_for)) == 1
    told = {asked().post("/sign-in", data={"name": name, "password": "wrong"}).text for name in ("R. Fink", "nobody")}
    assert len(told) == 1
