"""The what-if: limits are moved, and at once it stands there what stored tests would have become; kept as a draft."""

import re
from typing import Any

from starlette.responses import JSONResponse, Response

from station.errors import UsageError
from station.judgement.limit_file import Limit, LimitFile
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.drafts import LIMITS, hash_of, keep_draft, named, require_unchanged
from station.screens.guarding import to
from station.screens.pages import page, part
from station.screens.what_if_answer import SHOWN, Answer, answered
from station.screens.what_if_asked import DRAFT, SIDES, Asked, hash_seen, sides_of, what_if_asked
from station.screens.what_if_tests import gathered, newest_table, sequences
from station.sequence.limits_of_type import limits_in_force
from station.study.draft_text import draft_text, next_number
from station.study.limit_values import Reach, reach_of, values_of
from station.study.rejudge import VERDICTS
from station.study.table_file import TableFile
from station.study.wide_table import PRODUCTION
from station.units import printed


def _show(ask: Ask) -> Response:
    asked = what_if_asked(ask)
    file = gathered(ask, asked.motor_type, asked.sequence, asked.entries)
    if isinstance(file, Response):
        return file
    in_force = limits_in_force(ask.site.station).get(asked.motor_type)
    answer = answered(ask.site.station.store, file, asked, in_force)
    return page(ask, "limits_what_if.html", asked=asked, rows=_rows(file, asked, in_force), **_told(ask, asked, answer),
                sequences=sequences(ask, asked.motor_type), keep=_keeping(ask, asked), seen=hash_seen(asked.base))


def _answer(ask: Ask) -> Response:
    """Answer a limit that is being moved; the table is that of the page, so that nothing is waited for."""
    asked = what_if_asked(ask)
    file = newest_table(ask, asked.motor_type, asked.sequence)
    if file is None:
        raise UsageError("the tests are not there any more", where="what-if", expected="the tests of the page",
                         got="none", remedy="Load the page again.")
    answer = answered(ask.site.station.store, file, asked, limits_in_force(ask.site.station).get(asked.motor_type))
    return JSONResponse({"answer": part(ask, "limits_answer.html", asked=asked, **_told(ask, asked, answer)),
                         "address": asked.link()})


def _keep(ask: Ask) -> Response:
    """Keep the limits as they were moved as a draft of a revision of its own."""
    asked, name = what_if_asked(ask), named(ask.given("name", 70))
    station = ask.site.station
    if asked.where.startswith(DRAFT):
        require_unchanged(LIMITS.drafts(station) / asked.base.name, ask.given("seen", 64))
    own = asked.where == f"{DRAFT}/{name}"
    text = draft_text(asked.base, asked.bounds, number=ask.given("number", 40), note=ask.given("note"))
    keep_draft(ask, LIMITS, name, text, ask.given("seen", 64) if own else "")
    return to(f"/limits#{name}")


def _told(ask: Ask, asked: Asked, answer: Answer) -> dict[str, Any]:
    """Return what the part of the page shows that changes with each move."""
    with ask.site.store() as store:
        newer = len(store.log) - answer.log_size
    return {"answer": answer, "verdicts": VERDICTS, "shown": SHOWN, "newer": newer, "production": PRODUCTION,
            "newest": asked.link(entries=str(answer.log_size + newer)) if newer > 0 else ""}


def _rows(file: TableFile, asked: Asked, in_force: LimitFile | None) -> list[dict[str, Any]]:
    """Return a row for each bound: the limit, where it stands, where it stood, and how far it is worth moving."""
    own = {limit.key: limit for limit in in_force.limits} if in_force else {}
    first = file.read(("first",), range(file.groups))["first"].astype(bool)
    rows = []
    for base, now in zip(asked.base.limits, asked.limits.limits, strict=True):
        found = values_of(file, asked.base, base, first)
        for side in sides_of(base):
            reach = _around(reach_of(found, base, side), now, side)
            rows.append({"key": base.key, "unit": printed(base.unit), "side": side, "now": _bound(now, side),
                         "before": _bound(own.get(base.key), side), "reach": reach})
    return rows


def _around(reach: Reach, limit: Limit, side: str) -> Reach:
    """Return a reach that where the bound stands is within."""
    bound = _bound(limit, side)
    return Reach(min(reach.first, bound), max(reach.last, bound), reach.step) if bound is not None else reach


def _bound(limit: Limit | None, side: str) -> float | None:
    return None if limit is None else limit.lower if side == SIDES[0] else limit.upper


def _keeping(ask: Ask, asked: Asked) -> dict[str, str]:
    """Return what the fields of a draft hold before anybody has typed: its own name and number, or the next ones."""
    station = ask.site.station
    if asked.where.startswith(DRAFT):
        return {"name": asked.base.name, "number": asked.base.revision.number, "note": asked.base.revision.note}
    with ask.site.store() as store:
        used = {said["revision"] for said in store.statements("release") if said["motor_type"] == asked.motor_type}
    number = next_number(asked.base.revision.number, used | {asked.base.revision.number})
    stem = re.sub(r"[^A-Za-z0-9.]+", "-", f"{asked.motor_type}-{number}").strip("-.")
    name = f"{stem}.toml"
    while hash_of(LIMITS.drafts(station) / name):
        name = name.removesuffix(".toml") + "-2.toml"
    return {"name": name, "number": number, "note": ""}


PAGES = (
    Page("/limits/what-if", Duty.DRAFT, _show),
    Page("/limits/what-if/answer", Duty.DRAFT, _answer),
    Page("/limits/what-if/keep", Duty.DRAFT, _keep, post=True),
)
