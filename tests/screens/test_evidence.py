"""The auditor's pages: tests found by every way, a record whole, audits beside, recall, and files to take away."""

import hashlib
import io
import json
import re
import shutil
import subprocess
import sys
import time
import zipfile

import httpx
import pytest

from station.certificate.log_place import log_place
from station.certificate.summary import certificate_number
from station.cli import program
from station.clock import system_clock
from station.record.record import canonical
from station.record.store import Store
from station.screens.access import Role
from station.screens.evidence_page import fields_of
from station.screens.site import make_site
from station.screens.words import DEFAULT
from station.sequence.station_file import load_station

GOOD, BAD = "CP40-0001", "CP40-0102"


@pytest.fixture
def auditor(reads):
    return reads(Role.AUDITOR)


@pytest.fixture(scope="module")
def evidence(tested):
    """Record and evidence of each test, by serial number."""
    with Store(tested.station.store, read_only=True) as store:
        return {serial: (store.show(serial)[0], store.evidence(store.show(serial)[0])) for serial in (GOOD, BAD)}


def listed(text):
    return re.findall(r'<a href="/evidence/(CP40-[0-9]+)/1"', text)


def waited(client, address):
    """Return a page once nothing is under way on it."""
    for _ in range(600):
        text = client.get(address).text
        found = re.search(r'data-wait="([^"]+)"', text)
        if found is None:
            return text
        assert client.get(found[1].replace("&amp;", "&")).json()["running"] in (True, False)
        time.sleep(0.1)
    raise AssertionError("it never ended")


def outcomes(text):
    return re.findall(r'<span class="state [a-z-]+">([^<]+)</span>', text)


def test_nothing_is_listed_before_anything_is_asked(auditor):
    text = auditor.get("/evidence").text
    assert listed(text) == []
    assert "tests, the newest" not in text


def test_a_motor_is_found_by_each_name_that_it_has(auditor, evidence):
    for serial, (record, proved) in evidence.items():
        code = "".join(log_place(record, proved.leaf).parts)
        for named in (serial, certificate_number(record), code):
            assert listed(auditor.get("/evidence", params={"named": named}).text) == [serial], named


def test_tests_are_found_by_what_they_stand_on(auditor, evidence):
    record = evidence[GOOD][0]
    instrument, day = record["bench"]["instruments"][0], record["started"][:10]
    for asked in ({"instrument": instrument["serial"]}, {"calibration": instrument["certificate"]},
                  {"limits": record["limit_file"]["sha256"]}, {"type": "CP-40"}, {"since": day, "until": day},
                  {"named": "CP40-*"}):
        assert set(listed(auditor.get("/evidence", params=asked).text)) == {GOOD, BAD}, asked
    for asked in ({"instrument": "none"}, {"until": "2020-01-01"}, {"type": "VB-24"}, {"named": GOOD, "type": "VB-24"}):
        assert listed(auditor.get("/evidence", params=asked).text) == [], asked
    assert listed(auditor.get("/evidence", params={"named": GOOD, "type": "CP-40"}).text) == [GOOD]


def test_a_code_that_is_not_of_this_log_is_told(auditor, evidence):
    record, proved = evidence[GOOD]
    place = log_place(record, proved.leaf)
    for code, status in ((f"elsewhere/{place.seq}/{place.letters}", 400),
                         (f"{place.origin}/999999/{place.letters}", 400),
                         (f"{place.origin}/{evidence[BAD][1].seq}/{place.letters}", 410)):
        assert auditor.get("/evidence", params={"named": code}).status_code == status, code


def test_the_page_of_a_record_holds_every_field(auditor, evidence):
    record = evidence[BAD][0]
    text = auditor.get(f"/evidence/{BAD}/1").text
    named = {name.partition(".")[0] for name, _ in fields_of(record)}
    assert set(record) - named == {"measurements", "judged", "plots"}
    for name, said in fields_of(record):
        assert f"<code>{name}</code>" in text
        if said.isalnum():
            assert f"<td>{said}</td>" in text, name
    for measured in record["measurements"]:
        assert f">{measured['name']}</a>" in text
    assert text.count('class="failing"') == sum(row["result"] == "FAIL" for row in record["judged"]) > 0
    assert log_place(*(record, evidence[BAD][1].leaf)).letters in text
    lone = next(row for row in record["judged"] if row["lower"] is None and row["acceptance_upper"] is not None)
    shown = "</td><td>".join(DEFAULT.number(lone[bound], 7) for bound in (
        "lower", "upper", "acceptance_lower", "acceptance_upper"))
    assert f"<td>{shown}</td>" in text       # limits, and those drawn in by the uncertainty


def test_fields_leave_nothing_out():
    record = {"a": {"b": [1, {"c": None}], "d": []}, "e": False, "judged": [1], "f": ["x", "y"]}
    assert list(fields_of(record)) == [("a.b.1", "1"), ("a.b.2.c", "–"), ("a.d", "–"), ("e", "False"),
                                       ("f.1", "x"), ("f.2", "y")]


def test_an_audit_with_every_number_computed_again(auditor, evidence):
    address = f"/evidence/{GOOD}/1"
    for depth in ("quick", "recompute"):
        answer = auditor.post(f"{address}/audit", data={"depth": depth})
        assert answer.headers["location"] == f"{address}#proof"
        text = waited(auditor, address)
    assert "BROKEN" not in outcomes(text)
    assert "DOUBTFUL" not in outcomes(text)
    quick, deep = outcomes(text)[:13], outcomes(text)[13:]
    assert len(deep) == 13
    assert (quick[8], deep[8]) == ("not done", "holds")      # values computed again from the captures
    assert deep.count("holds") > quick.count("holds")
    assert text.count("<strong>Nothing was found against it.</strong>") == 2


def test_no_such_audit(auditor):
    assert auditor.post(f"/evidence/{GOOD}/1/audit", data={"depth": "deeper"}).status_code == 400
    assert auditor.post("/evidence/CP40-9999/1/audit", data={"depth": "quick"}).status_code == 400


@pytest.fixture
def altered(tested, tmp_path, serving, accounts):
    """Return a client of an auditor at a copy of the station in which a capture was changed."""
    folder = tmp_path / "line"
    shutil.copytree(tested.station.folder, folder)
    station = load_station(folder / "station.toml")
    capture = sorted((station.store / "captures").glob("*.parquet"))[0]
    capture.write_bytes(capture.read_bytes() + b"\0")
    with serving(make_site(station, system_clock(), None)) as address, httpx.Client(
            base_url=address, headers={"origin": address}, timeout=20) as client:
        assert client.post("/sign-in", data=accounts[Role.AUDITOR]).status_code == 303
        yield client


def test_an_altered_archive_is_told_and_not_handed_out(altered):
    altered.post("/evidence/archive", data={"depth": "quick"})
    text = waited(altered, "/evidence/archive")
    assert "BROKEN" in outcomes(text)
    assert "Something does not hold" in text
    page = altered.get(f"/evidence/{GOOD}/1").text
    (name,) = re.findall(r'files/(capture-1\.\w+)"', page)
    assert altered.get(f"/evidence/{GOOD}/1/files/{name}").status_code == 410
    with zipfile.ZipFile(io.BytesIO(altered.get(f"/evidence/{GOOD}/1/files/everything.zip").content)) as archive:
        assert name not in archive.namelist()
        assert f"Not here: {name}" in archive.read("VERIFY.txt").decode()


def test_files_are_those_of_the_record_and_come_as_attachments(auditor, evidence, tested):
    record, proved = evidence[GOOD]
    names = re.findall(rf'href="/evidence/{GOOD}/1/files/([^"]+)"', auditor.get(f"/evidence/{GOOD}/1").text)
    assert {"certificate.pdf", "record.json", "proof.json", "values.csv", "everything.zip"} <= {*names}
    got = {}
    for name in names:
        answer = auditor.get(f"/evidence/{GOOD}/1/files/{name}")
        assert answer.headers["content-disposition"].startswith("attachment; "), name
        got[name] = answer.content
    hashes = {name: hashlib.sha256(content).hexdigest() for name, content in got.items()}
    assert got["record.json"] == canonical(record) == proved.record_bytes
    assert got["certificate.pdf"] == (tested.station.store / "certificates" / f"{GOOD}-run1.pdf").read_bytes()
    for number, entry in enumerate(record["captures"], 1):
        assert hashes[f"capture-{number}.parquet"] == entry["sha256"]
    for kind in ("limit_file", "sequence", "bench"):
        assert hashes[f"{kind.replace('_', '-')}.toml"] == record[kind]["sha256"]
    assert b"hall_placement" in got["values.csv"].splitlines()[0]
    again = auditor.get(f"/evidence/{GOOD}/1/files/everything.zip").content
    assert again == got["everything.zip"]


def test_what_was_taken_away_proves_itself_elsewhere(auditor, tested, tmp_path):
    with zipfile.ZipFile(io.BytesIO(auditor.get(f"/evidence/{GOOD}/1/files/everything.zip").content)) as archive:
        archive.extractall(tmp_path)
    subprocess.run(["sha256sum", "-c", "SHA256SUMS"], cwd=tmp_path, check=True, capture_output=True)
    keys = tested.station.keys
    subprocess.run([sys.executable, "check_certificate.py", "certificate.pdf", keys / "plant-ca.pem", keys / "log.pub"],
                   cwd=tmp_path, check=True, capture_output=True)


@pytest.mark.parametrize("name", ["station.toml", "..%2f..%2fstation.toml", "capture-99.parquet", "people.db"])
def test_no_other_file_is_handed_out(auditor, name):
    assert auditor.get(f"/evidence/{GOOD}/1/files/{name}").status_code in (400, 404)


def test_a_recall_is_that_of_the_command_line(auditor, evidence, tested, capsys):
    instrument = next(one for one in evidence[GOOD][0]["bench"]["instruments"] if one["role"] == "digitizer")["serial"]
    asked = {"instrument": instrument, "gain": "5%"}
    text = waited(auditor, auditor.post("/evidence/recall", data=asked).headers["location"])
    capsys.readouterr()
    program.run(["audit", "recall", "--station", str(tested.station.file), "--instrument", instrument, "--gain-error",
                 "5%", "--json"])
    told = json.loads(capsys.readouterr().out)["tests"]
    counted = {kind: sum(one["outcome"] == kind for one in told) for kind in ("flips", "doubtful", "stands")}
    assert counted["flips"] > 0
    assert "{flips} verdicts flip, {doubtful} become doubtful, {stands} stand".format(**counted) in text
    for one in told:
        assert (one["serial"] in listed(text)) == (one["outcome"] != "stands")
        assert all(changed["name"] in text for changed in one["changed"])


@pytest.mark.parametrize("asked", [{"gain": "5%"}, {"instrument": "X"}, {"instrument": "X", "gain": "much"},
                                   {"instrument": "X", "offset": "5 furlongs"}])
def test_a_recall_that_states_too_little(auditor, asked):
    assert auditor.post("/evidence/recall", data=asked).status_code == 400


def test_every_look_stands_in_the_trail(auditor, tested):
    before = len(tested.trail.entries())
    auditor.get("/evidence?named=CP40-0001")
    auditor.get(f"/evidence/{GOOD}/1")
    auditor.get(f"/evidence/{GOOD}/1/files/record.json")
    said = [json.loads(body) for _, body in tested.trail.entries()[before:]]
    assert [(one["who"], one["what"]) for one in said] == [
        ("T. Elster", "find records"), ("T. Elster", "view record"), ("T. Elster", "export")]
