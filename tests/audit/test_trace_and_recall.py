"""Which tests stand on what; and a recall corrects values as an analysis of corrected waveforms would."""

import json
from dataclasses import replace

import pytest
from tampering import body

from station.audit.ledger import logged
from station.audit.recall import InstrumentError, correct
from station.audit.stored import comes_from_captures, kept_limits, stored_measurements
from station.audit.trace import Question, trace
from station.audit.values import analyse_again
from station.record.log import Entry
from station.record.record import canonical
from station.record.store import Store

GAIN, TIME, WARMTH = 0.01, 1e-3, 5.0


@pytest.fixture(scope="module")
def record(made):
    return body(made, 0)


@pytest.fixture(scope="module")
def limits(made, record):
    return kept_limits(record, made / "store")


@pytest.fixture(scope="module")
def captures(made, record):
    with Store(made / "store", read_only=True) as store:
        return store.captures(record)


def without_gain(capture):
    """The capture of a digitizer that indicated too much, with what was true."""
    return replace(capture, channels={
        name: replace(channel, scale=channel.scale / (1 + GAIN), offset=channel.offset / (1 + GAIN))
        for name, channel in capture.channels.items()})


def without_slowness(capture):
    return replace(capture, sample_interval=capture.sample_interval / (1 + TIME), channels={
        name: replace(channel, skew=channel.skew / (1 + TIME), lag=channel.lag / (1 + TIME))
        for name, channel in capture.channels.items()})


def without_warmth(capture):
    return replace(capture, temperature_c=capture.temperature_c - WARMTH)


@pytest.mark.parametrize(("mend", "role", "error"), [
    (without_gain, "digitizer", InstrumentError(gain=GAIN)),
    (without_slowness, "digitizer", InstrumentError(timebase=TIME)),
    (without_warmth, "thermometer", InstrumentError(offset=WARMTH)),
])
def test_corrected_values_are_those_of_corrected_waveforms(record, limits, captures, mend, role, error):
    measured = stored_measurements(record)
    corrected = correct(measured, record, limits, role, error)
    compared = 0
    for analysis in analyse_again([mend(capture) for capture in captures], limits):
        for name, again in analysis.measurements.items():
            told = corrected[name, analysis.label]
            assert told.value == pytest.approx(again.value, rel=2e-5, abs=0.002 * told.u), name
            compared += told.value != measured[name, analysis.label].value
    assert compared > 30        # values that the error moves
    assert {key for key, m in corrected.items() if m != measured[key]} == {
        key for key in corrected if comes_from_captures(*key) and corrected[key] != measured[key]} | (
        {("winding_resistance." + line, "") for line in ("ab", "bc", "ca")} if role == "thermometer" else set())


def test_ohmmeter_gain_and_offset(record, limits):
    measured = stored_measurements(record)
    spread = ("winding_resistance_spread", "")
    gained = correct(measured, record, limits, "ohmmeter", InstrumentError(gain=0.02))
    assert gained["winding_resistance.ab", ""].value == measured["winding_resistance.ab", ""].value / 1.02
    assert gained[spread].value == pytest.approx(measured[spread].value)
    shifted = correct(measured, record, limits, "ohmmeter", InstrumentError(offset=0.1))
    at_rest = 0.1 * (235 + 20) / (235 + record["conditions"]["winding_temperature_degC"])
    assert shifted["winding_resistance.bc", ""].value == pytest.approx(
        measured["winding_resistance.bc", ""].value - at_rest)
    assert shifted[spread].value > measured[spread].value


@pytest.mark.parametrize(("role", "name", "label", "factor"), [
    ("insulation", "insulation_resistance", "", 1e-6), ("supply", "sensor_supply_current", "", 1e3),
    ("drive", "drag_torque", "forward 1000", 1e3)])
def test_offsets_are_in_si(record, limits, role, name, label, factor):
    measured = stored_measurements(record)
    told = correct(measured, record, limits, role, InstrumentError(offset=1e-3))
    assert told[name, label].value == pytest.approx(measured[name, label].value - 1e-3 * factor, rel=1e-12)
    assert [key for key in told if told[key] != measured[key]][:1] == [(name, label)]


def test_questions(made):
    store = made / "store"
    everything = [(test.serial, test.run, test.seq) for test in trace(store, Question())]
    assert everything == [("CP40-0001", 1, 0), ("CP40-0002", 1, 1), ("CP40-0002", 2, 2), ("VB24-0001", 1, 5)]
    limits, software = body(made, 5)["limit_file"], body(made, 5)["software"]
    for question in (Question(limits=limits["sha256"][:12]), Question(limits="VB-24.toml A"),
                     Question(motor_type="VB-24"), Question(since=body(made, 5)["started"])):
        assert [test.serial for test in trace(store, question)] == ["VB24-0001"]
    for question in (Question(instrument="EB-DIG-001"), Question(certificate="DIG-2026-001"),
                     Question(software=software["station_sha256"][:16]), Question(instrument="EB-DIG-001",
                                                                                 certificate="DIG-2026-001")):
        assert len(trace(store, question)) == 4
    for question in (Question(instrument="EB-DIG-002"), Question(instrument="EB-DIG-001", certificate="OHM-2026-001"),
                     Question(limits="VB-24.toml B"), Question(until="2020-01-01")):
        assert trace(store, question) == []


def test_recall_lists_what_flips(made, command):
    place = ("--station", made / "station.toml")
    code, out, _ = command("audit", "recall", *place, "--instrument", "EB-DIG-001", "--gain-error", "5%",
                           "--type", "CP-40", "--json")
    tests = json.loads(out)["tests"]
    assert code == 1
    assert [(test["serial"], test["verdict_before"], test["verdict_after"], test["outcome"]) for test in tests] == [
        ("CP40-0001", "PASS", "FAIL", "flips"), ("CP40-0002", "FAIL", "FAIL", "doubtful"),
        ("CP40-0002", "FAIL", "FAIL", "doubtful")]
    assert all(change["after"] == pytest.approx(change["before"] / 1.05) for change in tests[0]["changed"])
    code, out, _ = command("audit", "recall", *place, "--instrument", "EB-DIG-001", "--gain-error", "150ppm")
    assert code == 0
    assert "4 test(s): 0 flip, 0 become doubtful, 4 stand." in out


def test_recall_shows_people_the_worst_only(made, command):
    _, out, _ = command("audit", "recall", "--station", made / "station.toml", "--instrument", "EB-DIG-001",
                        "--gain-error", "5%")
    assert "FLIPS" in out
    assert "more" in out


def test_trace_of_an_instrument(made, command):
    code, out, _ = command("audit", "trace", "--station", made / "station.toml", "--instrument", "EB-OHM-001")
    assert code == 0
    assert "4 test(s)" in out


@pytest.mark.parametrize("words", [
    ("--gain-error", "5%"), ("--instrument", "EB-DIG-001"), ("--instrument", "EB-DIG-001", "--gain-error", "5 V"),
    ("--instrument", "EB-DIG-001", "--gain-error", "much"), ("--instrument", "X", "--offset-error", "5 furlongs")])
def test_wrong_use(made, command, words):
    code, _, told = command("audit", "recall", "--station", made / "station.toml", *words)
    assert code == 2
    assert "expected" in told


def test_glance_is_the_record_without_its_values(record):
    each = logged(Entry(0, "record", 1, bytes(32), None, "", canonical(record)))
    assert each.said == {key: value for key, value in record.items()
                         if key not in ("measurements", "judged", "plots")}
    assert logged(Entry(0, "record", 1, bytes(32), None, "", b"\xff{")).said is None
