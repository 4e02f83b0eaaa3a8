"""Studies for the engineer: tests are chosen, then every limited characteristic of them is shown, the weakest first."""

from collections.abc import Mapping
from typing import Any

from starlette.responses import JSONResponse, Response

from station.errors import FileContractError, UsageError
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.drafts import LIMITS, draft_of, names
from station.screens.pages import page
from station.screens.study_asked import Asked, asked_of, studied
from station.screens.study_charts import index_chart
from station.sequence.station_file import Station
from station.study.judged_by import narrowest
from station.study.type_digest import Pair

CHARTED = 30        # characteristics in the chart of indices, the weakest


def _choose(ask: Ask) -> Response:
    """Show what can be studied, and ask for which tests."""
    with ask.site.store() as store:
        types = store.motor_types()
    return page(ask, "study_choose.html", types=types, asked=asked_of(ask))


def _type(ask: Ask) -> Response:
    asked = asked_of(ask)
    whole = studied(ask, asked)
    if isinstance(whole, Response):
        return whole
    with ask.site.store() as store:
        types, newer = store.motor_types(), len(store.log) - (asked.choice.entries or 0)
    return page(ask, "study_type.html", asked=asked, whole=whole, said=whole.said, types=types, newer=max(newer, 0),
                drafts=drafts_of(ask, asked.motor_type), indices=index_chart(whole.said["characteristics"][:CHARTED]))


def _running(ask: Ask) -> Response:
    """Answer whether what a page waits for is being computed still."""
    outcome = ask.site.studies.outcome(ask.given("key", 5000))
    return JSONResponse({"running": outcome is not None and outcome.is_running})


def drafts_of(ask: Ask, motor_type: str) -> list[str]:
    """Return the names of the drafts of a motor type's limits; what does not hold is none."""
    station = ask.site.station
    return [name for name in names(LIMITS.drafts(station)) if _type_of(station, name) == motor_type]


def draft_pair(ask: Ask, asked: Asked, told: Mapping[str, Any]) -> tuple[str, Pair | None]:
    """Return the name of the draft that the address asks for, "" for none, and its limits of a characteristic.

    Raises
    ------
    UsageError
        There is no such draft, or it is of another motor type.
    FileContractError
        It does not hold.
    """
    name = ask.given("draft", 80)
    if not name:
        return "", None
    draft = draft_of(ask.site.station, name)
    if draft.motor_type.name != asked.motor_type:
        raise UsageError("draft of another motor type", where=name, expected=asked.motor_type,
                         got=draft.motor_type.name, remedy="Choose a draft of that type.")
    return name, narrowest([one for one in draft.limits if one.covers(told["characteristic"], told["capture"])])


def _type_of(station: Station, name: str) -> str:
    try:
        return draft_of(station, name).motor_type.name
    except FileContractError:
        return ""


PAGES = (
    Page("/studies", Duty.DRAFT, _choose),
    Page("/studies/type", Duty.DRAFT, _type),
    Page("/studies/running", Duty.DRAFT, _running),
)
