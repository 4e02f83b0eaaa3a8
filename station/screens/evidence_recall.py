"""An instrument was found to be off: whose verdict changes without its error."""

from pathlib import Path
from urllib.parse import urlencode

from starlette.responses import Response

from station.audit.recall import InstrumentError, Recalled, recall
from station.audit.stated_error import require_instrument, stated_error
from station.audit.trace import Question
from station.clock import stamp
from station.screens.access import Duty
from station.screens.apart import apart
from station.screens.ask import Ask, Page
from station.screens.guarding import to
from station.screens.pages import page
from station.screens.whole_day import end_of_day

ASKED = ("instrument", "calibration", "gain", "offset", "timebase", "since", "until", "type")
OUTCOMES = ("flips", "doubtful", "stands")


def _show(ask: Ask) -> Response:
    asked = {name: ask.given(name, 80) for name in ASKED}
    outcome = ask.site.background.outcome(_key(asked))
    found = outcome.result or [] if outcome else []
    counted = {kind: sum(one.outcome == kind for one in found) for kind in OUTCOMES}
    return page(ask, "evidence_recall.html", asked=asked, outcome=outcome, counted=counted,
                rows=[one for one in found if one.outcome != "stands"])


def _start(ask: Ask) -> Response:
    asked = {name: ask.given(name, 80) for name in ASKED}
    question = Question(asked["instrument"], asked["calibration"], "", "", asked["since"], end_of_day(asked["until"]),
                        asked["type"])
    require_instrument(question)
    error = stated_error(asked["gain"], asked["offset"], asked["timebase"])
    store = ask.site.station.store
    ask.site.background.start(_key(asked), lambda: apart(_recall, store, question, error), who=ask.name,
                              at=stamp(ask.site.clock.utc()))
    ask.site.trail.add(ask.name, "recall", where=ask.where, about=_key(asked))
    return to(f"/evidence/recall?{urlencode(asked)}")


def _recall(store: Path, question: Question, error: InstrumentError) -> list[Recalled]:
    return list(recall(store, question, error))


def _key(asked: dict[str, str]) -> str:
    return "recall of " + ", ".join(f"{name} {text}" for name, text in asked.items() if text)


PAGES = (Page("/evidence/recall", Duty.READ, _show), Page("/evidence/recall", Duty.READ, _start, post=True))
