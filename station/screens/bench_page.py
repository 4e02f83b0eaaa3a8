"""The bench: who fills each role, until when it may be trusted, and what is being said to it."""

import json

from starlette.responses import JSONResponse, Response

from station.bench.bench_file import load_bench
from station.errors import UsageError
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.pages import page

MOST_LINES = 500        # of the transcript in one answer


def _show(ask: Ask) -> Response:
    file, today = load_bench(ask.site.station.bench), ask.site.clock.today()
    rows = [{"role": entry.role, "maker": entry.identity.maker, "model": entry.identity.model,
             "serial": entry.identity.serial, "resource": entry.resource, "dialect": entry.dialect.name,
             "certificate": entry.calibration.certificate, "due": entry.calibration.due.isoformat(),
             "fault": str(entry.calibration.fault(today) or ""), "extension": entry.calibration.extension}
            for entry in file.instruments]
    return page(ask, "bench.html", file=file, rows=rows, state=ask.site.line.state if ask.site.line else None)


def _said(ask: Ask) -> Response:
    """Answer with what was said since exchange number `since`, counted from the beginning of the run."""
    since = ask.given("since", 12)
    if not since.isdecimal():
        raise UsageError("that is no whole number", where="since", expected="how many exchanges are known already",
                         got=repr(since), remedy="Use the bench's own page.")
    noted, lines = ask.site.line.said(int(since)) if ask.site.line else (0, [])
    return JSONResponse({"noted": noted, "lines": [json.loads(line) for line in lines[-MOST_LINES:]]})


PAGES = (Page("/bench", Duty.DRAFT, _show), Page("/bench/said", Duty.DRAFT, _said))
