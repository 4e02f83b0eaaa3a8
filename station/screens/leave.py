"""An engineer's leave at the operator's panel: a further run, a check after a mended bench, or going on after failures.

Who gives it proves it by name and password on the spot; the operator stays signed in, and tests.
"""

from starlette.responses import Response

from station.errors import NotAllowedError, UsageError
from station.record.trail_entry import UNLOCKED
from station.screens.access import Duty, may
from station.screens.ask import Ask, Page
from station.screens.guarding import to
from station.screens.hall import hall_of
from station.screens.operator import LONGEST_SCAN, line_of
from station.screens.pages import page
from station.screens.people import Person
from station.screens.sign_in import claimed, proved
from station.sequence.runs_gate import FurtherRun


def _show(ask: Ask) -> Response:
    line_of(ask)
    return page(ask, "line_leave.html", serial=ask.given("serial", LONGEST_SCAN), hall=hall_of(ask))


def _allow(ask: Ask) -> Response:
    line, serial, reason = line_of(ask), ask.given("serial", LONGEST_SCAN), ask.given("reason")
    if not reason:
        raise UsageError("a reason is missing", where="leave", expected="why this is allowed, in a few words",
                         got="nothing", remedy="Go back and write it down; it stands in the record.")
    person = _engineer(ask, serial)
    if serial:
        line.arm(serial, ask.name, FurtherRun(person.name, reason))
        ask.site.trail.add(person.name, "allow a run", where=ask.where, about=serial, why=reason)
    else:
        line.unlock()
        ask.site.trail.add(person.name, UNLOCKED, where=ask.where, why=reason)
    return to("/line")


def _engineer(ask: Ask, serial: str) -> Person:
    """Return who proves to be an engineer; NotAllowedError, and an entry in the trail, for anybody else."""
    person = proved(ask)
    if person is not None and may(person.roles, Duty.ALLOW):
        return person
    ask.site.trail.add(claimed(ask), "allow a run", where=ask.where, about=serial, good=False)
    raise NotAllowedError("that is no engineer's name and password", where="leave", expected="an engineer",
                          got="somebody else", remedy="Have an engineer enter name and password.")


PAGES = (Page("/line/leave", Duty.TEST, _show), Page("/line/leave", Duty.TEST, _allow, post=True))
