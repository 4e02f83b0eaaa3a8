"""Every page of every role: nothing that axe finds amiss, targets as large as they must be, and pictures of it."""

import pytest

from station.audit.store_audit import Scope, audit_store
from station.audit.trusted import load_trusted
from station.screens.access import Role
from station.screens.kept_audits import FOLDER, KeptAudit, keep_audit

BAD, GOOD = "CP40-0102", "CP40-0001"
VIEWS = (
    (None, "/sign-in"), (None, "/line"), (None, "/rig"), (None, "/nowhere-at-all/1"),
    (Role.OPERATOR, "/line"), (Role.OPERATOR, "/tests"),
    (Role.ENGINEER, "/line"), (Role.ENGINEER, "/line/leave"), (Role.ENGINEER, "/tests"),
    (Role.ENGINEER, f"/tests/{BAD}/1"), (Role.ENGINEER, f"/tests/{BAD}/1?beside={GOOD}"),
    (Role.ENGINEER, f"/tests/{BAD}/1/captures/1/poles"), (Role.ENGINEER, "budget"),
    (Role.ENGINEER, "/tests/no-such-motor/1"), (Role.ENGINEER, "/files"), (Role.ENGINEER, "file"),
    (Role.ENGINEER, "/bench"), (Role.RELEASER, "/files"), (Role.ENGINEER, "/limits"),
    (Role.ENGINEER, "/studies"), (Role.ENGINEER, "/studies/gauge"), (Role.ENGINEER, "/studies/drift"),
    (Role.AUDITOR, "/evidence"), (Role.AUDITOR, f"/evidence?named={BAD}"), (Role.AUDITOR, f"/evidence/{BAD}/1"),
    (Role.AUDITOR, "kept audit"), (Role.AUDITOR, "/evidence/archive"),
    (Role.AUDITOR, "/evidence/recall?instrument=X&gain=5%25"),
    (Role.KEEPER, "/people"),
)
FOUND_BY_LINK = {"kept audit": (f"/evidence/{BAD}/1", "main td a[href*='/evidence/audits/']"),
                 "budget": (f"/tests/{BAD}/1", "main td a[href*=budget]"),
                 "file": ("/files", "main a[href^='/files/']")}
PANEL, DESK = (1920, 1080), (1280, 900)


@pytest.fixture(scope="module", autouse=True)
def _audited(station):
    """An audit of one motor as an auditor's button would have left it."""
    here, at = station.station, "2026-11-26T08:00:00.000Z"
    report = audit_store(here.store, load_trusted(None, None, here.keys), Scope(BAD, recompute=False))
    keep_audit(here.folder / FOLDER, KeptAudit(BAD, "quick", "T. Elster", at, at, report))


@pytest.mark.parametrize(("role", "path"), VIEWS, ids=[f"{role or 'nobody'} {path}" for role, path in VIEWS])
def test_nothing_amiss(desk, address, sound, role, path):
    page = desk(role, PANEL if path.startswith("/line") else DESK)
    complaints = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    start, link = FOUND_BY_LINK.get(path, (path, ""))
    answer = page.goto(address + start)
    if link:
        page.goto(address + page.locator(link).first.get_attribute("href"))
    elif page.locator(".waves").count():
        page.locator(".waves[data-drawn]").wait_for()
    if answer.headers["content-type"].startswith("text/html"):
        sound(page, f"{role or 'nobody'}{path.replace('/', '-').replace('?', '-')}")
    if answer.ok:
        assert complaints == []     # no script fails, and the policy forbids nothing that a page needs
