"""station.screens.hand_over_words: each state of handing over has its words, and only some call for a person."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from station.plant.forward_thread import HandOverState
from station.plant.hand_over import Progress
from station.screens.hand_over_words import hand_over_words
from station.screens.words import languages

ZONE = ZoneInfo("Europe/Vienna")
SINCE = datetime(2026, 11, 26, 3, 5, tzinfo=UTC)
DONE, HALF = Progress(7, 7, 7), Progress(7, 3, 0)


@pytest.mark.parametrize(("state", "english", "is_urgent"), [
    (HandOverState(DONE), "handed over up to entry 7", False),
    (HandOverState(HALF), "3 of 7 entries handed over", False),
    (HandOverState(Progress(7, 7, 3)), "7 of 7 entries handed over", False),       # files are on their way
    (HandOverState(HALF, SINCE), "not reachable since 2026-11-26 04:05: nothing is lost", False),
    (HandOverState(HALF, trouble="unknown log"), "takes nothing: call the engineer. Nothing is lost.", True),
    (HandOverState(Progress(7, 7, 7, left=2), SINCE), "2 files could not be handed over: call the engineer.", True),
    (HandOverState(Progress(7, 7, 7, 0, "two heads")), "ALARM there about this station. Call the engineer.", True),
    (HandOverState(DONE, None, "fork", is_fork=True), "FORK: another log under this name. Call the engineer.", True),
])
def test_the_worst_is_said_and_who_must_do_something(state, english, is_urgent):
    said = hand_over_words(state, languages()["en"], ZONE)
    assert (said.text, said.is_urgent) == (english, is_urgent)
    for words in languages().values():
        other = hand_over_words(state, words, ZONE)
        assert other.is_urgent == is_urgent
        assert (other.text == english) == (words.code == "en")
