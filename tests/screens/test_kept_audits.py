"""Outcomes of audits are kept: they outlive the program, and a changed one is told."""

import json
import re
import time
from contextlib import contextmanager

import httpx
import pytest

from station.audit.finding import Report, Severity, Step
from station.clock import system_clock
from station.errors import EvidenceError, UsageError
from station.screens.access import Role
from station.screens.kept_audits import FOLDER, KeptAudit, keep_audit, kept_audit, kept_audits
from station.screens.site import make_site

BEGUN, ENDED = "2026-11-26T08:00:00.123Z", "2026-11-26T08:00:04.000Z"


def report():
    found = Report()
    found.hold(Step.RECORD, 3)
    found.leave_out(Step.PAGE, "not asked for")
    found.find("file.altered", Severity.BROKEN, "a capture was altered", where="CP40-0001 <run 1>", since="7",
               expected="a", got="b", remedy="Restore it.")
    return found


def audit(serial="CP40-0001", begun=BEGUN, depth="quick"):
    return KeptAudit(serial, depth, "T. Elster", begun, ENDED, report())


def test_a_report_is_read_as_it_was_written():
    again = Report.from_json(json.loads(json.dumps(report().as_json("CP40-0001"))))
    assert again == report()
    assert [again.outcome(step) for step in (Step.RECORD, Step.PAGE, Step.FILE)] == ["holds", "not done", "broken"]


def test_an_audit_is_kept_and_found_by_its_motor(tmp_path):
    first = keep_audit(tmp_path / FOLDER, audit())
    second = keep_audit(tmp_path / FOLDER, audit(begun="2026-11-26T09:00:00.000Z", depth="recompute"))
    whole = keep_audit(tmp_path / FOLDER, audit(serial=""))
    odd = keep_audit(tmp_path / FOLDER, audit(serial="../../x/*"))
    assert kept_audits(tmp_path / FOLDER, "CP40-0001", 10) == ([second, first], [])
    assert kept_audits(tmp_path / FOLDER, "CP40-0001", 1) == ([second], [])
    assert kept_audits(tmp_path / FOLDER, "", 10) == ([whole], [])
    assert kept_audits(tmp_path / FOLDER, "../../x/*", 10) == ([odd], [])
    assert kept_audits(tmp_path / "nowhere", "", 10) == ([], [])
    assert {path.parent for path in tmp_path.rglob("*.json")} == {tmp_path / FOLDER}


@pytest.mark.parametrize("change", [
    lambda text: text.replace('"broken","since"', '"note","since"'), lambda text: text[:-1], lambda _: "[]",
    lambda _: "", lambda text: text + " ", lambda text: text.replace('"file.altered"', '"made.up"'),
    lambda text: text.replace("08:00:00", "08:00:01"), lambda text: text.replace('"clean":false', '"clean":true')])
def test_a_changed_one_is_told_and_takes_no_other_with_it(tmp_path, change):
    kept = keep_audit(tmp_path, audit())
    other = keep_audit(tmp_path, audit(begun="2026-11-26T09:00:00.000Z"))
    path = tmp_path / kept.name
    path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
    found, (fault,) = kept_audits(tmp_path, "CP40-0001", 10)
    assert found == [other]
    assert kept.name in fault.where
    with pytest.raises(EvidenceError, match="a kept audit was altered"):
        kept_audit(tmp_path, kept.name)


def test_one_that_holds_together_but_says_something_else_has_another_hash(tmp_path):
    kept = keep_audit(tmp_path, audit())
    path = tmp_path / kept.name
    path.write_text(path.read_text(encoding="utf-8").replace("T. Elster", "R. Fink"), encoding="utf-8")
    assert kept_audit(tmp_path, kept.name).sha256 != kept.sha256        # and the trail has that


@pytest.mark.parametrize("name", ["../people/people.db", "x.json", "20261126T080000.123Z-quick-0123456789abcdef.json"])
def test_no_other_file_is_an_audit(tmp_path, name):
    with pytest.raises(UsageError, match="no such audit"):
        kept_audit(tmp_path, name)


def waited(client, address):
    for _ in range(600):
        text = client.get(address).text
        if "data-wait" not in text:
            return text
        time.sleep(0.1)
    raise AssertionError("it never ended")


@contextmanager
def signed_in(address, accounts):
    with httpx.Client(base_url=address, headers={"origin": address}, timeout=20) as client:
        assert client.post("/sign-in", data=accounts[Role.AUDITOR]).status_code == 303
        yield client


def test_what_was_audited_is_there_after_a_restart(tested, serving, accounts):
    address = "/evidence/CP40-0102/1"
    with serving(tested) as where, signed_in(where, accounts) as client:
        client.post(f"{address}/audit", data={"depth": "quick"})
        before = waited(client, address)
    with serving(make_site(tested.station, system_clock(), None)) as where, signed_in(where, accounts) as client:
        after = client.get(address).text
        (name,) = set(re.findall(r'href="/evidence/audits/([^"]+)"', after)[:1])
        one = client.get(f"/evidence/audits/{name}").text
        assert client.get("/evidence/audits/nothing.json").status_code == 400
    states = re.findall(r'<span class="state [a-z-]+">([^<]+)</span>', before)
    assert len(states) == 13
    assert states == re.findall(r'<span class="state [a-z-]+">([^<]+)</span>', after)
    assert states == re.findall(r'<span class="state [a-z-]+">([^<]+)</span>', one)
    kept = kept_audit(tested.station.folder / FOLDER, name)
    said = [json.loads(body) for _, body in tested.trail.entries() if b"audit ended" in body]
    assert (said[-1]["who"], said[-1]["why"]) == ("T. Elster", f"SHA-256 {kept.sha256}")
    assert kept.sha256 in one
