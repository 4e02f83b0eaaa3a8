"""What the operator's page says of handing over to the plant: how far it is, or what is in its way."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from station.plant.forward_thread import HandOverState
from station.screens.words import Words


@dataclass(frozen=True, slots=True)
class HandOverWords:
    """The words, and whether a person must do something about it."""

    text: str
    is_urgent: bool


def hand_over_words(state: HandOverState, words: Words, zone: ZoneInfo) -> HandOverWords:
    """Return what is said of `state`: the worst first, and never that something was lost, as nothing is."""
    progress = state.progress
    for key, is_so in (("fork", state.is_fork), ("trouble", state.trouble), ("alarm", progress.alarm),
                       ("left", progress.left)):
        if is_so:
            return HandOverWords(words.text(f"standing.plant.{key}", count=progress.left), is_urgent=True)
    if state.silent_since is not None:
        since = state.silent_since.astimezone(zone).strftime("%Y-%m-%d %H:%M")
        return HandOverWords(words.text("standing.plant.silent", since=since), is_urgent=False)
    if progress.is_done:
        return HandOverWords(words.text("standing.plant.done", count=progress.acknowledged), is_urgent=False)
    return HandOverWords(words.text("standing.plant.under_way", done=progress.acknowledged, count=progress.entries),
                         is_urgent=False)
