"""One characteristic of a study: how it spreads, what is weak about it, who lies outside; and two of them together."""

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

import numpy as np
import pyarrow as pa
from starlette.responses import Response

from station.errors import UsageError
from station.record.export import Column, as_csv
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.pages import page
from station.screens.scatter import scatter
from station.screens.study_asked import Asked, asked_of, studied
from station.screens.study_charts import SUMMARY, histogram, normality_chart, order_chart, summaries
from station.screens.study_type import draft_pair, drafts_of
from station.screens.what_if_asked import IN_FORCE
from station.sequence.limits_of_type import limits_in_force
from station.study.type_digest import TypeDigest, Values

NAMED = 50      # tests named that lie outside the tolerance, or whose values are those of an end


def _one(ask: Ask) -> Response:
    asked = asked_of(ask)
    whole = studied(ask, asked)
    if isinstance(whole, Response):
        return whole
    told, of = _characteristic(whole, ask.given("key", 120))
    draft, pair = draft_pair(ask, asked, told)
    charts = {}
    if of.values.size > 1:
        charts = {"spread": histogram(told, of, pair), "order": order_chart(told, of, whole, pair),
                  "normal": normality_chart(told, of)}
    stations = summaries(told, of, whole.stations[of.rows], whole.said["stations"])
    return page(ask, "study_one.html", asked=asked, told=told, of=of, charts=charts, draft=draft,
                drafts=drafts_of(ask, asked.motor_type), heads=SUMMARY, stations=stations,
                outside=_outside(whole, told, of), rails=_rails(whole, told, of), what_if=_what_if(ask, asked, told))


def _values(ask: Ask) -> Response:
    """Answer with every value of a characteristic as a table."""
    asked = asked_of(ask)
    whole = studied(ask, asked)
    if isinstance(whole, Response):
        return whole
    told, of = _characteristic(whole, ask.given("key", 120))
    rows = of.rows.tolist()
    about = {"unit": told["unit"]}
    columns = [Column("serial", pa.string(), [whole.serials[row] for row in rows]),
               Column("run", pa.int64(), [whole.runs[row] for row in rows]),
               Column("started", pa.string(), [whole.started[row] for row in rows]),
               Column("lot", pa.string(), [whole.said["lots"][whole.lots[row]] for row in rows]),
               Column("station", pa.string(), [whole.said["stations"][whole.stations[row]] for row in rows]),
               Column("verdict", pa.string(), [whole.verdicts[row] for row in rows]),
               Column(told["key"], pa.float64(), of.values.tolist(), about),
               Column(f"u({told['key']})", pa.float64(), [u if np.isfinite(u) else None for u in of.us.tolist()],
                      about)]
    ask.site.trail.add(ask.name, "export", where=ask.where, about=f"{told['key']} of {asked.query}")
    return Response(as_csv(columns), media_type="text/csv; charset=utf-8",
                    headers={"content-disposition": 'attachment; filename="values.csv"'})


def _pair(ask: Ask) -> Response:
    asked = asked_of(ask)
    whole = studied(ask, asked)
    if isinstance(whole, Response):
        return whole
    keys = [one["key"] for one in whole.said["characteristics"]]
    across, up = (ask.given(name, 120) for name in ("across", "up"))
    found = scatter(whole, _characteristic(whole, across), _characteristic(whole, up)) if across and up else None
    return page(ask, "study_pair.html", asked=asked, keys=sorted(keys), across=across, up=up, found=found,
                matrix=_matrix(whole))


def _matrix(whole: TypeDigest) -> tuple[list[str], list[list[float | None]]]:
    """Return the characteristics of the strongest pairs and their rank correlations with each other."""
    named = dict.fromkeys(key for pair in whole.said["pairs"] for key in (pair["first"], pair["second"]))
    keys, r = whole.said["correlation"]["keys"], whole.said["correlation"]["r"]
    places = [keys.index(key) for key in named]
    return list(named), [[r[row][column] for column in places] for row in places]


def _characteristic(whole: TypeDigest, key: str) -> tuple[Mapping[str, Any], Values]:
    """Return what the study says of a characteristic, and its values; UsageError where it says nothing."""
    if key not in whole.values:
        raise UsageError("no such characteristic in this study", where="key", expected="one that has a limit", got=key,
                         remedy="Follow a link of the study.")
    return whole.told(key), whole.values[key]


def _what_if(ask: Ask, asked: Asked, told: Mapping[str, Any]) -> str:
    """Return the address where the limit of a characteristic is moved, "" where none in force covers it."""
    limits = limits_in_force(ask.site.station).get(asked.motor_type)
    covering = [one for one in limits.limits if one.covers(told["characteristic"], told["capture"])] if limits else []
    if limits is None or not covering:
        return ""
    side = "upper" if covering[0].lower is None else "lower"
    return "/limits/what-if?" + urlencode({"file": f"{IN_FORCE}/{limits.name}", "moved": f"{side}:{covering[0].key}",
                                           "sequence": asked.sequence})


def _outside(whole: TypeDigest, told: Mapping[str, Any], of: Values) -> list[tuple[str, int, float]]:
    """Return serial, run and value of the tests outside the tolerance, the farthest out first."""
    low = -np.inf if told["lower"] is None else told["lower"]
    high = np.inf if told["upper"] is None else told["upper"]
    beyond = np.maximum(low - of.values, of.values - high)
    return [_named(whole, of, place) for place in np.argsort(-beyond, kind="stable")[:NAMED] if beyond[place] > 0]


def _rails(whole: TypeDigest, told: Mapping[str, Any], of: Values) -> list[tuple[str, int, float]]:
    """Return the tests whose values are at the ends of a range."""
    ends = [end for count, end in zip(told["at_rails"], (of.values.min(initial=0.0), of.values.max(initial=0.0)),
                                      strict=True) if count] if of.values.size else []
    return [_named(whole, of, place) for place in np.flatnonzero(np.isin(of.values, ends))[:NAMED]]


def _named(whole: TypeDigest, of: Values, place: int) -> tuple[str, int, float]:
    row = int(of.rows[place])
    return whole.serials[row], whole.runs[row], float(of.values[place])


PAGES = (
    Page("/studies/one", Duty.DRAFT, _one),
    Page("/studies/values.csv", Duty.DRAFT, _values),
    Page("/studies/pair", Duty.DRAFT, _pair),
)
