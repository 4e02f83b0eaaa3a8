"""`station demo --motors N`, and the walk through README that begins with it, command by command as printed there."""

import json
import os
import re
import subprocess
import sys
import tomllib
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader

from station.certificate.render import render_certificate
from station.cli import population
from station.cli.workplace import open_workplace
from station.record.record_schema import check_record
from station.record.store import Store
from station.sequence.progress import unwatched
from station.sequence.runs_gate import FurtherRun
from station.sequence.station_file import load_station
from station.simulated.population import LOTS

README = Path(__file__).parents[2] / "README.md"
HEADING = "## Find a weak limit, draft, what-if, release"
MOTORS = 100        # in place of 400: as many as a study wants to be sure of itself
# Not the motor's own, or moved by it: ripple at the sixth electrical order looks like harmonics 5 and 7.
OF_THE_SHAFT = ("speed", "electrical_frequency", "thd", "harmonic_5", "harmonic_7")
SHELL = {**os.environ, "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"}


def commands():
    """Return the commands of that section, one string each, lines that go on joined."""
    section = README.read_text(encoding="utf-8").split(HEADING, 1)[1].split("\n## ", 1)[0]
    blocks = re.findall(r"^```sh\n(.*?)^```", section, re.MULTILINE | re.DOTALL)
    return [line for block in blocks for line in block.replace("\\\n", " ").splitlines()]


@pytest.fixture(scope="module")
def walk(tmp_path_factory):
    """The walk, done once: its folder, and what each command printed, by its first words."""
    work = tmp_path_factory.mktemp("walk")
    printed = {}
    for line in commands():
        if line == "cd population":
            work /= "population"
            continue
        done = subprocess.run(line.replace("--motors 400", f"--motors {MOTORS}"), shell=True, cwd=work, env=SHELL,
                              capture_output=True, text=True, timeout=300, check=False)
        assert done.returncode == 0, (line, done.stdout, done.stderr)
        printed.setdefault(" ".join(line.split()[:3]), done.stdout)
        printed[line] = done.stdout
    return work, printed


@pytest.fixture(scope="module")
def records(walk):
    with Store(walk[0] / "store", read_only=True) as store:
        return {record["serial"]: record for record in store.find()}


def test_the_walk_has_the_steps_that_its_heading_names():
    words = [" ".join(line.split()[1:3]) for line in commands() if line.startswith("station ")]
    assert [word for word in dict.fromkeys(words) if not word.startswith("audit")] == [
        "demo --motors", "study type", "limits check", "limits compare", "study what-if", "limits release",
        "limits history"]


def test_the_study_finds_the_lot_that_drifts_and_writes_its_report(walk):
    folder, printed = walk
    assert "Lot C drifts" in " ".join(printed["station study type"].split())
    assert (folder / "study").is_dir()
    assert {path.suffix for path in (folder / "study").rglob("*") if path.is_file()} >= {".pdf", ".json", ".svg"}


def test_the_present_limit_lets_bad_motors_pass_and_the_draft_rejects_some_of_those(walk, records):
    folder, printed = walk
    bad = {entry["serial"]: entry["fault"]
           for entry in tomllib.loads((folder / "known_bad.toml").read_text("utf-8"))["motor"]}
    escaped = {serial for serial in bad if records[serial]["verdict"] == "PASS"}
    assert f"{len(escaped)} of them passed" in printed["station demo --motors"]
    assert escaped
    study = json.loads((folder / "what-if.json").read_text(encoding="utf-8"))
    shipped = {one["serial"] for one in study["shipped_and_not_passed"]}
    assert shipped & escaped
    assert shipped <= {serial for serial, record in records.items() if record["verdict"] == "PASS"}
    assert all(serial in printed["station study what-if"] for serial in shipped)
    assert "least cost at 5" in printed["station study what-if"]


def test_the_revision_is_in_force_and_the_log_says_who_and_why(walk):
    folder, printed = walk
    assert tomllib.loads((folder / "limits" / "CP-40.toml").read_text("utf-8"))["revision"]["number"] == "B"
    told = " ".join(printed["station limits history"].split())
    assert "displaced" in told
    assert "Line" in told


def test_the_audit_finds_nothing_also_where_it_computes_again(walk, command, records):
    folder, printed = walk
    assert "Nothing was found against it" in printed["station audit ."]
    for serial in list(records)[::45]:
        code, out, _ = command("audit", serial, "--station", folder / "station.toml")
        assert code == 0, out
        assert "holds     value" in out


def test_every_record_says_that_it_was_generated_and_keeps_its_captures(walk, records):
    assert len(records) == MOTORS
    for record in records.values():
        assert record["bench"]["simulated"]
        assert record["bench"]["generated"] == population.GENERATED
        assert record["operator"] == population.OPERATOR
    with Store(walk[0] / "store", read_only=True) as store:
        for record in list(records.values())[::20]:
            check_record(record)
            assert [capture.label for capture in store.captures(record)] == [e["label"] for e in record["captures"]]


def test_each_lot_has_a_day_of_its_own_and_none_is_in_the_future(records):
    days = Counter((record["serial"][5], record["started"][:10]) for record in records.values())
    assert [lot for lot, _ in sorted(days)] == list(LOTS)
    assert len({day for _, day in days}) == len(LOTS)
    assert not any(record["clock"].get("flags") for record in records.values())


def test_every_page_of_a_certificate_says_so(records, tmp_path):
    passed = next(record for record in records.values() if record["verdict"] == "PASS")
    path = tmp_path / "one.pdf"
    path.write_bytes(render_certificate(passed))
    texts = [" ".join(page.extract_text().split()) for page in PdfReader(path).pages]
    assert all("GENERATED" in text and "NO MOTOR WAS TESTED" in text for text in texts)
    assert any("Generated, not tested" in text for text in texts)


def test_the_same_seed_gives_the_same_waveforms_and_values_in_any_process(walk, records):
    """Codes to the last bit. The sums of linear algebra depend in their last digits on where an array lies."""
    line, drawn = population.drawn_line(load_station(walk[0] / "station.toml"), MOTORS)
    assert [motor.serial for motor in drawn.motors] == list(records)
    with Store(walk[0] / "store", read_only=True) as store:
        for number in (0, MOTORS - 1):
            run = population.run_of(line, drawn.motors[number], number)
            stored = records[run.serial]
            for again, kept in zip(run.captures, store.captures(stored), strict=True):
                assert all(np.array_equal(codes, kept.codes[name]) for name, codes in again.codes.items())
            values = [run.written(m, label) for (_, label), m in run.concluded.conclusion.measurements.items()]
            assert len(values) > 100
            for again, kept in zip(map(as_read, values), stored["measurements"], strict=True):
                assert again["name"] == kept["name"]
                assert again["value"] == pytest.approx(kept["value"], rel=1e-9, abs=1e-9)
                assert again["u"] == pytest.approx(kept["u"], rel=1e-6, abs=1e-12)


def as_read(part):
    return json.loads(part.content)


def test_the_simulated_bench_finds_the_same_of_the_same_motor(walk, records):
    """Another way with the same end: sockets, time, other noise. Each value agrees within what both are unsure of."""
    folder = walk[0]
    station = load_station(folder / "station.toml")
    station = replace(station, simulated=station.simulated.model_copy(update={"pace": 20.0}))
    serial = next(serial for serial, record in records.items() if record["verdict"] == "PASS")
    with open_workplace(station, "tester") as place:
        bench = place.test(serial, unwatched, further=FurtherRun("tester", "on the simulated bench as well")).record
    assert "generated" not in bench["bench"]
    measured, tested = ({(m["name"], m["label"]): m for m in record["measurements"]}
                        for record in (records[serial], bench))
    assert measured.keys() == tested.keys()
    apart = [key for key, one in measured.items() if not key[0].startswith(OF_THE_SHAFT)
             and abs(one["value"] - tested[key]["value"]) > allowed(one, tested[key])]
    assert len(measured) > 100
    assert not apart


def allowed(*both):
    """Four standard uncertainties of the difference, and a hundredth of the value."""
    return 4 * sum(one["u"] ** 2 for one in both) ** 0.5 + 0.01 * abs(both[0]["value"])


def test_no_reference_motor_of_another_sequence_lies_there(walk, command):
    code, _, err = command("reference", "check", "--station", walk[0] / "station.toml")
    assert (code, "there is no reference motor" in err) == (2, True)


def test_a_folder_in_use_is_refused(walk, command):
    code, _, told = command("demo", "--motors", "30", "--out", walk[0])
    assert code == 2
    assert "folder is in use" in told
