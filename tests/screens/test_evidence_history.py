"""What the page of a record says of what came before and after it, at a store that real stations have written."""

import re
import shutil
import tarfile
from pathlib import Path

import httpx
import pytest

from station.cli.setup import write_folder
from station.clock import system_clock
from station.record.kept_files import keep_file, kept_file
from station.record.print_queue import DATABASE, PrintQueue, PrintState
from station.record.store import Store
from station.screens.access import Role
from station.screens.site import make_site
from station.screens.words import languages
from station.sequence.station_file import load_station

GOLDEN = Path(__file__).parents[1] / "golden" / "signed-log.tar.xz"
AT, LATER = "2026-11-26T08:00:00.000Z", "2026-11-26T08:00:30.000Z"
MOTOR = "CP60-0003"     # three runs, the first of them void, the last by an engineer's leave
UPPER, WIDER = b"upper = ", b"upper = 1"      # of the first limit, so that it was ten times as wide or more before


@pytest.fixture(scope="module")
def station(tmp_path_factory):
    """A station whose store has one of each kind of entry, and besides a release and two printouts."""
    folder = tmp_path_factory.mktemp("history")
    write_folder(folder / "line", pace=50.0, free_ports=True)
    here = load_station(folder / "line" / "station.toml")
    with tarfile.open(GOLDEN) as packed:
        packed.extractall(folder, filter="data")
    shutil.rmtree(here.store, ignore_errors=True)
    shutil.copytree(folder / "one_of_each" / "store", here.store)
    with Store(here.store) as store:
        add_release(store, store.show(MOTOR)[-1])
    with PrintQueue(here.store) as queue:
        first, _again = (queue.add(MOTOR, 3, "certificates/one.pdf", "5" * 64, queued=AT, by=who)
                         for who in ("K. Amsel", "T. Elster"))
        queue.note_end(first, PrintState.PRINTED, LATER, "")
    return here


def add_release(store, record):
    """State that the limits of `record` followed a revision with another upper limit."""
    now = kept_file(store.folder, record["limit_file"]["sha256"])
    before = keep_file(store.folder, now.replace(UPPER, WIDER, 1))
    store.add_statement("release", {
        "format": 1, "motor_type": record["motor_type"]["name"], "revision": record["limit_file"]["revision"],
        "file": record["limit_file"]["name"], "sha256": record["limit_file"]["sha256"], "person": "S. Olm",
        "reason": "pilot lot measured", "at": AT, "predecessor": {"revision": "0", "sha256": before}})


@pytest.fixture(scope="module")
def auditor(station, serving, peopled, accounts):
    site = peopled(make_site(station, system_clock(), None))
    with serving(site) as address, httpx.Client(base_url=address, headers={"origin": address}, timeout=20) as client:
        assert client.post("/sign-in", data=accounts[Role.AUDITOR]).status_code == 303
        yield client


def section(client, run, heading, code="en", serial=MOTOR):
    """Return the part of a record's page below a heading, its markup left out."""
    text = client.get(f"/evidence/{serial}/{run}", headers={"accept-language": code}).text
    (_, _, rest) = text.partition(f"<h2>{languages()[code].text(heading)}</h2>")
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", rest.partition("</section>")[0])).strip()


def test_which_run_counts_and_why_the_others_do_not(auditor):
    told = section(auditor, 3, "evidence.runs")
    assert "The limit file allows 2 run(s)." in told
    first, second, third = re.findall(r"\b[123] 20\S+ FAIL (.*?)(?= \b[23] 20|$)", told)
    assert first == "no: declared void"
    assert second == "no: run 3 came later; is the first one"
    assert third == "counts K. Muster: new insulation tester"
    assert "1 20" in section(auditor, 1, "evidence.runs", serial="CP40-0002")
    assert "no: it has no result" in section(auditor, 1, "evidence.runs", serial="CP40-0002")
    assert "no: reference check" in section(auditor, 1, "evidence.runs", serial="CP40-R001")


def test_the_reference_checks_around_a_test(auditor, station):
    with Store(station.store, read_only=True) as store:
        (check,) = store.reference_checks()
    told = section(auditor, 1, "evidence.checks", serial="CP40-0001")
    assert told.startswith("Before none of this motor type in the log After reference check 1")
    assert check["result"] in told
    assert section(auditor, 1, "evidence.checks", serial=MOTOR).count("none of this motor type") == 2


def test_what_the_limits_changed(auditor, station):
    told = section(auditor, 3, "evidence.limits_before")
    assert "S. Olm, 2026-11-26T08:00:00.000Z: pilot lot measured" in told
    assert re.search(r"upper limit narrower by", told)
    assert "The log holds no release" in section(auditor, 1, "evidence.limits_before", serial="CP40-0001")
    with Store(station.store, read_only=True) as store:
        (said,) = store.statements("release")
    lost = station.store / "files" / said["predecessor"]["sha256"]
    content = lost.read_bytes()
    try:
        lost.write_bytes(content + b"#")
        assert "file in force at a test was altered" in section(auditor, 3, "evidence.limits_before")
        lost.unlink()
        assert "a limit file was not kept" in section(auditor, 3, "evidence.limits_before")
    finally:
        lost.write_bytes(content)


def test_every_printout_of_the_certificate(auditor, station):
    told = section(auditor, 3, "evidence.printouts")
    assert re.search(rf"first \S+, K\. Amsel printed – {re.escape(LATER)} reprint 1 \S+, T\. Elster waiting", told)
    assert "never in the print queue" in section(auditor, 2, "evidence.printouts")
    queue = station.store / DATABASE
    aside = queue.rename(queue.with_suffix(".aside"))
    try:
        assert "never in the print queue" in section(auditor, 3, "evidence.printouts")
        queue.write_bytes(b"no database" * 100)
        assert "opening the print queue failed" in section(auditor, 3, "evidence.printouts")
    finally:
        aside.rename(queue)


def test_corrections_name_their_entry_of_the_log(auditor, station):
    with Store(station.store, read_only=True) as store:
        said = store.statements("correction")
    text = auditor.get(f"/evidence/{MOTOR}/1").text
    for one in said:
        assert f"({one['person']}, {one['at']}; Entry of the log {one['log']['seq']})" in text


@pytest.mark.parametrize("code", languages())
def test_all_of_it_in_each_language(auditor, code):
    assert languages()[code].text("evidence.why.first") in section(auditor, 3, "evidence.runs", code)
    assert languages()[code].text("evidence.printouts.first") in section(auditor, 3, "evidence.printouts", code)
