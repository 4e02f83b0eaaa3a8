"""What pages write to the store is written between two tests, and no motor is taken meanwhile."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from station.errors import StationError, UsageError
from station.screens.refusal import RefusedError

PATIENCE = 60       # s, of a loaded machine


@pytest.fixture
def line(fresh_site):
    return fresh_site.line


def entering(text):
    return lambda store: store.add_statement("correction", {"format": 1, "what": text})


@pytest.fixture
def others():
    with ThreadPoolExecutor(2) as threads:
        yield threads


def test_it_is_written_while_the_line_rests(line, fresh_site):
    said = line.between_tests(entering("noted"))
    with fresh_site.store() as store:
        assert store.statements("correction") == [said]


def test_a_motor_that_is_waited_for_comes_first(line, others):
    line.arm("CP40-0001", "K. Amsel")
    told = others.submit(line.between_tests, entering("noted"))
    with pytest.raises(StationError, match="no pause"):
        line.between_tests(entering("in vain"), 0.5)
    assert not told.done()
    line.withdraw()
    assert told.result(PATIENCE)["what"] == "noted"


def test_no_motor_is_taken_by_limits_that_are_just_being_replaced(line, others):
    begun, on = threading.Event(), threading.Event()

    def slowly(store):
        begun.set()
        assert on.wait(PATIENCE)
        return entering("slow")(store)

    told = others.submit(line.between_tests, slowly)
    assert begun.wait(PATIENCE)
    with pytest.raises(RefusedError, match="put in force"):
        line.arm("CP40-0001", "K. Amsel")
    on.set()
    assert told.result(PATIENCE)["what"] == "slow"
    assert line.arm("CP40-0001", "K. Amsel").serial == "CP40-0001"


def test_a_motor_scanned_just_before_it_is_to_be_written_comes_first(line, others, monkeypatch):
    look, told, scanned = type(line)._look, [], threading.Event()

    def scan_meanwhile(self, tester):
        if not told:
            self.arm("CP40-0001", "K. Amsel")       # in the line's own thread: nothing can come between
            told.append(others.submit(self.between_tests, entering("noted")))
            while self._writings.empty():
                time.sleep(0.01)
            scanned.set()
        look(self, tester)

    monkeypatch.setattr(type(line), "_look", scan_meanwhile)
    assert scanned.wait(PATIENCE)
    time.sleep(1.0)
    assert not told[0].done()
    line.withdraw()
    assert told[0].result(PATIENCE)["what"] == "noted"


def test_what_goes_wrong_is_told_to_whoever_wanted_it_and_the_line_goes_on(line):
    def wrong(_store):
        raise UsageError("not so", where="here", expected="this", got="that", remedy="Do it otherwise.")

    with pytest.raises(UsageError, match="not so"):
        line.between_tests(wrong)
    assert line.between_tests(entering("noted"))["what"] == "noted"
