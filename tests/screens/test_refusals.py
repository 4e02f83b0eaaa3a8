"""What the line does not test, and what an engineer may allow; over the pages, with the embedded bench."""

import json
import time
from copy import deepcopy
from dataclasses import replace
from datetime import timedelta
from math import hypot

import httpx
import pytest

from station.bench.bench_file import load_bench
from station.cli import program
from station.cli.serve import opened_site
from station.cli.setup import write_folder
from station.clock import system_clock
from station.record.print_queue import PrintQueue
from station.record.store import Store
from station.screens.access import Role
from station.screens.demo_people import PASSWORD
from station.screens.standing import standing_of, why_locked
from station.sequence.opening import open_store
from station.sequence.station_file import Printer, load_station
from station.sequence_file import parse_sequence
from station.toml_file import read_toml

PATIENCE = 25       # s, of a loaded machine


class Panel:
    """The operator's page, asked again and again."""

    def __init__(self, client, site):
        self.client, self.site = client, site

    def scan(self, text):
        assert self.client.post("/line/scan", data={"text": text}).status_code == 303

    def act(self, *acts):
        for act in acts:
            assert self.client.post("/rig", data={"act": act}).status_code == 303

    def await_state(self, *keys):
        end, text = time.monotonic() + PATIENCE, ""
        while time.monotonic() < end:
            text = self.client.get("/line").text
            if any(f'data-key="{key}"' in text for key in keys):
                return text
            time.sleep(0.05)
        raise AssertionError(f"no {keys} in {text}")

    def test(self, serial, end):
        """Exchange the motor, press START and return the page once it shows the state `end`."""
        self.scan(serial)
        if 'data-key="change"' in self.await_state("change", "guard", "start"):
            self.exchange()
        self.await_state("start")
        self.act("start")
        return self.await_state(end)

    def exchange(self):
        """Open the guard until the station has seen it, and close it again."""
        self.act("open")
        time.sleep(0.5)
        self.act("close")

    def exchange_both(self):
        """Put in the two reference motors, one after the other, and start each."""
        for serial in ("CP40-R001", "CP40-R002"):
            while f"Put in: {serial}" not in self.await_state("change"):
                time.sleep(0.05)
            self.exchange()
            self.await_state("start")
            self.act("start")
            self.await_state("testing", "change", "check-good", "check-bad")

    def allow(self, serial, reason="meter leads were loose", name="R. Fink", password=PASSWORD):
        return self.client.post("/line/leave", data={"serial": serial, "reason": reason, "name": name,
                                                     "password": password})


@pytest.fixture
def panel(asked, site):
    return Panel(asked(Role.OPERATOR), site)


def test_a_motor_that_passed_is_tested_again_by_an_engineers_leave_alone(panel):
    panel.test("CP40-0001", "pass")
    panel.scan("CP40-0001")
    text = panel.await_state("pass")        # scanned twice: its verdict stays
    assert "passed already: run 1" in text
    assert "/line/leave?serial=CP40-0001" in text
    panel.exchange()
    panel.await_state("ready")
    panel.scan("CP40-0001")
    assert "passed already: run 1" in panel.await_state("refused")
    for wrong in ({"name": "K. Amsel"}, {"password": "a wrong password"}, {"name": "T. Elster"}):
        assert panel.allow("CP40-0001", **wrong).status_code == 403
    assert panel.allow("CP40-0001", reason="").status_code == 400
    panel.await_state("refused")
    assert panel.allow("CP40-0001").status_code == 303
    panel.await_state("start")
    panel.act("start")
    panel.await_state("pass")
    with Store(panel.site.station.store, read_only=True) as store:
        record = store.show("CP40-0001")[-1]
    assert (record["run"], record["operator"]) == (2, "K. Amsel")
    assert record["further_run"] == {"person": "R. Fink", "reason": "meter leads were loose"}
    last = [json.loads(body) for _, body in panel.site.trail.entries(limit=10_000)][-1]
    assert (last["what"], last["who"], last["about"], last["why"]) == (
        "allow a run", "R. Fink", "CP40-0001", "meter leads were loose")


def test_a_motor_that_failed_has_the_runs_of_its_limit_file(panel):
    text = panel.test("CP40-0102", "fail")
    assert "Seat it anew and scan it once more" in text
    assert "A magnet is reversed or missing." in text
    assert text.count("<li>") == 3
    panel.scan("CP40-0102")
    text = panel.await_state("start")
    assert "Tested before: run 1, FAIL" in text
    assert "2 of 2 allowed" in text
    panel.act("start")
    text = panel.await_state("fail")
    assert "put it into the red bin" in text
    panel.scan("CP40-0102")
    assert "has used its 2 runs" in panel.await_state("fail")
    panel.exchange()
    panel.await_state("ready")
    panel.scan("CP40-0102")
    assert "has used its 2 runs" in panel.await_state("refused")


def test_what_cannot_be_a_motor_of_this_station(panel):
    panel.scan("XX99-0001")
    text = panel.await_state("refused")
    assert "it tests CP40-, CP60-, VB24-" in text
    assert "Read: XX99-0001" in text
    assert "/line/leave" not in text        # nothing that an engineer could allow
    for hostile in ("=HYPERLINK(1)", "../../etc/passwd", "CP40 0001", "CP40-0001'--", "x" * 5000, "\x02\x03"):
        panel.scan(hostile)
        assert any(said in panel.await_state("refused") for said in ("is no serial number", "it tests CP40-"))


def test_control_characters_around_a_code_are_the_scanners(panel):
    panel.scan("\x02CP40-0004\x03")
    assert "<bdi>CP40-0004</bdi>" in panel.await_state("change", "guard", "start")
    panel.client.post("/line/withdraw")
    panel.act("open", "close")
    panel.await_state("stopped", "no-result", "ready")


def test_one_motor_at_a_time_and_a_double_scan_is_one(panel):
    panel.scan("CP40-0005")
    before = panel.await_state("change", "guard", "start")
    panel.scan("CP40-0005")
    assert 'class="hint"' not in panel.client.get("/line").text
    panel.scan("CP40-0007")
    after = panel.client.get("/line").text
    assert "CP40-0005 is in work" in after
    assert "<bdi>CP40-0005</bdi>" in before
    assert "<bdi>CP40-0005</bdi>" in after
    panel.client.post("/line/withdraw")
    panel.act("open", "close")
    panel.await_state("stopped", "no-result", "ready")


def test_cautions_come_before_what_can_hurt(panel):
    panel.scan("VB24-0001")
    text = panel.await_state("change", "guard", "start")
    assert "The shaft will turn" in text
    assert "carry more than 25 V from" in text
    assert "500\u00a0V are put between winding and frame" in text
    panel.client.post("/line/withdraw")
    panel.act("open", "close")
    panel.await_state("stopped", "no-result", "ready")


@pytest.fixture(scope="module")
def checked_line(tmp_path_factory, peopled):
    """A station that asks for reference checks and locks after two failures."""
    folder = tmp_path_factory.mktemp("checked") / "line"
    write_folder(folder, pace=50.0, free_ports=True, reference_checks=True)
    file = folder / "station.toml"
    file.write_text(file.read_text("utf-8") + "\n[panel]\nfails_in_a_row = 2\n", "utf-8")
    with opened_site(load_station(file), system_clock(), look_only=False) as site:
        yield peopled(site)


@pytest.fixture
def strict(checked_line, serving):
    with serving(checked_line) as address, httpx.Client(base_url=address, headers={"origin": address},
                                                       timeout=20) as client:
        client.post("/line/scan", data={"text": "B-1001"})
        yield Panel(client, checked_line)


def test_a_shift_begins_with_reference_motors_and_many_failures_lock_the_line(strict):
    text = strict.await_state("reference")
    assert "CP40-R001" in text
    assert "never made" in text
    strict.scan("CP40-0001")
    assert "Scan one of its reference motors: CP40-R001, CP40-R002" in strict.await_state("refused")
    strict.scan("CP40-R002")
    strict.exchange_both()
    text = strict.await_state("check-good")
    with Store(strict.site.station.store, read_only=True) as store:
        (check,) = store.reference_checks()
    assert (check["result"], check["operator"]) == ("GOOD", "K. Amsel")
    for serial in ("CP40-0102", "CP40-0105"):
        strict.test(serial, "fail")
    strict.exchange()
    text = strict.await_state("locked")
    assert "2 motors failed one after the other" in text
    assert "of its tolerance off" in text
    strict.scan("CP40-0001")
    strict.await_state("refused")
    assert strict.allow("", name="T. Elster").status_code == 403
    assert strict.allow("", reason="the lot is bad, the bench is good").status_code == 303
    strict.test("CP40-0001", "pass")
    strict.exchange()
    strict.await_state("ready")     # which is seen after a look around, and so with the last motor counted
    assert "3 tested, 1 passed first time" in strict.client.get("/line").text


def test_calibration_and_disk_lock_the_line_and_say_why(checked_line):
    station, clock = checked_line.station, system_clock()
    bench, sequence = load_bench(station.bench), parse_sequence(read_toml(station.sequence))
    late = replace(clock, utc=lambda: clock.utc() + timedelta(days=400))
    with Store(station.store, read_only=True) as store:
        assert why_locked(store, bench, sequence, clock) is None
        locked = why_locked(store, bench, sequence, late)
        assert locked.key == "calibration_out"
        assert not locked.is_allowable
        standing = standing_of(station, store, bench, sequence, late)
        assert standing.locked == locked
        assert standing.calibrated_until < late.today()
        huge = replace(sequence, steps=tuple(
            step.model_copy(update={"revolutions": 1e15}) if step.kind == "back-drive" else step
            for step in sequence.steps))
        assert why_locked(store, bench, huge, clock).key == "room"


@pytest.fixture(scope="module")
def doubtful_line(tmp_path_factory, peopled):
    """A station whose good reference motor is expected to be another one than it is."""
    folder = tmp_path_factory.mktemp("doubtful") / "line"
    write_folder(folder, pace=50.0, free_ports=True, reference_checks=True)
    file = folder / "references" / "CP40-R001.toml"
    text = file.read_text("utf-8")
    assert "value = 10.11681" in text
    file.write_text(text.replace("value = 10.11681", "value = 11.5"), "utf-8")
    with opened_site(load_station(folder / "station.toml"), system_clock(), look_only=False) as site:
        yield peopled(site), file, text


def test_a_bench_that_measures_its_reference_motor_wrong_is_an_engineers_to_free(doubtful_line, serving):
    site, file, text = doubtful_line
    with serving(site) as address, httpx.Client(base_url=address, headers={"origin": address}, timeout=20) as client:
        client.post("/line/scan", data={"text": "B-1001"})
        panel = Panel(client, site)
        panel.await_state("reference")
        panel.scan("CP40-R001")
        panel.exchange_both()
        shown = panel.await_state("check-bad")
        assert "CP40-R001: back_emf_constant_peak.ab" in shown
        assert "do not test" in shown
        panel.act("open")
        shown = panel.await_state("locked")
        assert "Reference check 1 of CP-40 was BAD" in shown
        for serial in ("CP40-R001", "CP40-0001"):
            panel.scan(serial)
            panel.await_state("refused")
        file.write_text(text, "utf-8")
        assert panel.allow("CP40-R001", reason="the expected value was a slip of the pen").status_code == 303
        panel.exchange_both()
        panel.await_state("check-good")
        panel.act("open")
        panel.await_state("ready")
    with Store(site.station.store, read_only=True) as store:
        checks = store.reference_checks()
    assert [check["result"] for check in checks] == ["BAD", "GOOD"]
    assert checks[1]["done"] == "the expected value was a slip of the pen (R. Fink)"


def test_certificates_that_wait_for_the_printer_are_counted(doubtful_line):
    station, clock = doubtful_line[0].station, system_clock()
    bench, sequence = load_bench(station.bench), parse_sequence(read_toml(station.sequence))
    named = replace(station, printer=Printer(uri="ipp://127.0.0.1/ipp/print"))
    with Store(station.store, read_only=True) as store:
        assert standing_of(station, store, bench, sequence, clock).to_print is None
        assert standing_of(named, store, bench, sequence, clock).to_print == 0
        with PrintQueue(station.store) as queue:
            for run in (1, 2):
                queue.add("CP40-0001", run, "certificate.pdf", "0" * 64, queued="2026-11-26T00:00:00Z", by="K. Amsel")
            queue.note_waiting(queue.open()[0], "no paper")
        standing = standing_of(named, store, bench, sequence, clock)
    assert (standing.to_print, standing.print_note) == (2, "no paper")


def add_checks(store, deviations):
    """Store further checks whose first reference motor is off by so many standard uncertainties."""
    first = {key: value for key, value in store.reference_checks()[0].items()
             if key not in ("check", "last_run", "suspects")}
    for deviation in deviations:
        made = deepcopy(first)
        for row in made["motors"][0]["compared"]:
            if row["u"]:
                row["value"] = row["expected"] + deviation * hypot(row["u"], row["expected_u"])
        store.add_reference_check(made)


def test_a_bench_that_has_drifted_tests_nothing_but_reference_motors(tmp_path, peopled, serving):
    write_folder(tmp_path / "line", pace=50.0, free_ports=True)
    file = tmp_path / "line" / "station.toml"
    program.run(["reference", "check", "--type", "CP-40", "--station", str(file)])
    station = load_station(file)
    with open_store(station) as store:
        add_checks(store, [0.3, -0.3] * 5 + [2.5] * 7)
    file.write_text(file.read_text("utf-8") + "\n[drift]\nstop = true\n", "utf-8")
    with opened_site(load_station(file), system_clock(), look_only=False) as site, serving(peopled(site)) as address, (
            httpx.Client(base_url=address, headers={"origin": address}, timeout=20)) as client:
        client.post("/line/scan", data={"text": "B-1001"})
        panel = Panel(client, site)
        text = panel.await_state("locked")
        assert "The bench has drifted: CP40-R001" in text
        assert "Tell the engineer." in text
        assert "/line/leave" not in text
        panel.scan("CP40-0001")
        assert "The bench has drifted" in panel.await_state("refused")
        panel.scan("CP40-R001")
        panel.await_state("change")
        panel.client.post("/line/withdraw")
        panel.act("open")
