"""Where an auditor begins: tests found by what a motor or a paper says, by date, or by what they stand on."""

from typing import Any

from starlette.responses import Response

from station.audit.named import tests_named
from station.audit.trace import Question, fitting
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.pages import page
from station.screens.whole_day import end_of_day

SHOWN = 200         # tests in one list
LONGEST = 200       # of what a code says


def _find(ask: Ask) -> Response:
    """Show the tests that fit; while nothing is asked, only how to ask."""
    asked = {name: ask.given(name, LONGEST) for name in (
        "named", "since", "until", "instrument", "calibration", "limits", "software", "type")}
    found = _found(ask, asked) if any(asked.values()) else []
    if any(asked.values()):
        ask.site.trail.add(ask.name, "find records", where=ask.where, about=_told(asked))
    rows = [{"serial": one["serial"], "run": one["run"], "type": one["motor_type"]["name"], "started": one["started"],
             "verdict": one["verdict"], "seq": (one.get("log") or {}).get("seq")} for one in reversed(found[-SHOWN:])]
    return page(ask, "evidence_find.html", asked=asked, rows=rows, count=len(found), is_asked=any(asked.values()))


def _found(ask: Ask, asked: dict[str, str]) -> list[dict[str, Any]]:
    question = Question(asked["instrument"], asked["calibration"], asked["limits"], asked["software"], asked["since"],
                        end_of_day(asked["until"]), asked["type"])
    if not asked["named"]:
        return list(fitting(ask.site.station.store, question))
    with ask.site.store() as store:
        named = tests_named(store, asked["named"])
    if question == Question():
        return named
    keys = {(one["serial"], one["run"]) for one in named}
    return [one for one in fitting(ask.site.station.store, question) if (one["serial"], one["run"]) in keys]


def _told(asked: dict[str, str]) -> str:
    return ", ".join(f"{name} {text}" for name, text in asked.items() if text)


PAGES = (Page("/evidence", Duty.READ, _find),)
