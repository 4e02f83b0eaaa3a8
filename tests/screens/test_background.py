"""Computations beside the pages: one at a time, and each tells what became of it."""

import threading
import time

import pytest

from station.errors import StationError, UsageError
from station.screens.attempts import PatienceError
from station.screens.background import KEPT, Background

AT = "2026-01-01T00:00:00.000Z"
WRONG = UsageError("wrong", where="here", expected="right", got="wrong", remedy="Mend it.")


def ended(background, key):
    while background.outcome(key).is_running:
        time.sleep(0.001)
    return background.outcome(key)


def failing(error):
    def work():
        raise error
    return work


def test_one_at_a_time():
    background, gate = Background(), threading.Event()
    background.start("a", lambda: gate.wait(10), who="T. Elster", at=AT)
    assert background.outcome("a").is_running
    with pytest.raises(PatienceError, match="something else is being computed"):
        background.start("b", lambda: 1, who="R. Fink", at=AT)
    background.start("a", failing(WRONG), who="R. Fink", at=AT)     # is under way already
    gate.set()
    assert ended(background, "a").result is True
    assert background.outcome("a").who == "T. Elster"
    assert background.outcome("b") is None
    background.start("b", lambda: 1, who="R. Fink", at=AT)
    assert ended(background, "b").result == 1


def test_an_error_is_an_outcome_and_the_next_goes_on(capfd):
    background = Background()
    background.start("a", failing(WRONG), who="T. Elster", at=AT)
    assert ended(background, "a").error is WRONG
    background.start("a", failing(ValueError("secret of the inside")), who="T. Elster", at=AT)
    error = ended(background, "a").error
    assert type(error) is StationError
    assert "secret" not in str(error)
    assert "secret of the inside" in capfd.readouterr().err
    background.start("a", lambda: 2, who="T. Elster", at=AT)
    assert (ended(background, "a").result, ended(background, "a").error) == (2, None)


def test_the_oldest_outcomes_are_forgotten():
    background = Background()
    for number in range(KEPT + 3):
        background.start(str(number), lambda: 1, who="T. Elster", at=AT)
        ended(background, str(number))
    assert [background.outcome(str(number)) is None for number in (0, 2, 3, KEPT + 2)] == [True, True, False, False]


def test_what_is_at_work_is_known_and_only_what_ended_is_forgotten():
    background, gate = Background(kept=2), threading.Event()
    background.start("a", lambda: gate.wait(10), who="T. Elster", at=AT)
    assert background.running().key == "a"
    background.forget("a")
    assert background.outcome("a").is_running
    gate.set()
    ended(background, "a")
    assert background.running() is None
    background.forget("a")
    background.forget("never begun")
    assert background.outcome("a") is None
    for key in "bcd":
        background.start(key, lambda: 1, who="T. Elster", at=AT)
        ended(background, key)
    assert [key for key in "bcd" if background.outcome(key)] == ["c", "d"]
