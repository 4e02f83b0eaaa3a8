"""Wirings of digitizers with enough channels, with too few, and of two digitizers."""

from datetime import date

import pytest

from station.bench.bench_file import parse_bench
from station.bench.digitizer import Wiring
from station.bench.roles import ROLES, SENSOR_DIGITIZER
from station.bench.starter import embedded_bench_toml
from station.bench.wiring import capture_parts, wiring_faults
from station.capture import CHANNELS, HALL_CHANNELS, VOLTAGE_CHANNELS, Accuracy
from station.errors import FileContractError
from station.toml_file import parse_toml

PORTS = {role: 45025 + i for i, role in enumerate((*ROLES, SENSOR_DIGITIZER))}
STARTERS = {kind: embedded_bench_toml(PORTS, date(2026, 9, 1), date(2027, 9, 1), digitizers=kind)
            for kind in ("six channels", "four channels", "two instruments")}
FIRST, SECOND = ("v_ab", "v_bc", "v_ca", "h_a"), ("v_ab", "h_a", "h_b", "h_c")


def parse(text, folder):
    return parse_bench(parse_toml(text.encode(), "bench.toml"), folder)


def wired(**places):
    """`signal=(channel, position)`."""
    return {signal: Wiring(channel, 1.0, 0.0, 0.0, position) for signal, (channel, position) in places.items()}


def test_six_channels_are_one_capture(tmp_path):
    part, = parse(STARTERS["six channels"], tmp_path).capture_parts
    assert (part.role, part.signals) == ("digitizer", CHANNELS)


def test_four_channels_are_two_captures_by_one_digitizer(tmp_path):
    bench = parse(STARTERS["four channels"], tmp_path)
    assert [(part.role, part.signals) for part in bench.capture_parts] == [("digitizer", FIRST), ("digitizer", SECOND)]
    assert bench.switch_settle == 0.05
    assert bench.roles == ROLES


def test_two_instruments_are_two_captures_at_once(tmp_path):
    bench = parse(STARTERS["two instruments"], tmp_path)
    assert [(part.role, part.signals) for part in bench.capture_parts] == [
        ("digitizer", VOLTAGE_CHANNELS), (SENSOR_DIGITIZER, ("v_ab", *HALL_CHANNELS))]
    assert bench.roles == (*ROLES, SENSOR_DIGITIZER)
    assert bench.entry(SENSOR_DIGITIZER).dialect.name == "embedded_digitizer.toml"


def test_the_second_digitizer_may_have_limits_of_error_of_its_own(tmp_path):
    text = STARTERS["two instruments"]
    alike = parse(text, tmp_path)
    assert alike.accuracy_of(SENSOR_DIGITIZER) == alike.accuracy_of("digitizer")
    table = text[text.index("[accuracy]"):text.index("# Which digitizer channel")]
    own = parse(text + "\n" + table.replace("[accuracy]", "[sensor_accuracy]").replace("skew_s = 1.0e-7",
                                                                                          "skew_s = 3.0e-7"), tmp_path)
    assert own.accuracy_of(SENSOR_DIGITIZER).skew == 3e-7
    assert own.accuracy_of("digitizer") == Accuracy()


@pytest.mark.parametrize(("kind", "old", "new", "key"), [
    ("four channels", "v_ab = { channel = 1, probe_ratio = 1.0, skew_s = 0.0, lag_s = 0.0 }",
     "v_ab = { channel = 1, position = 1 }", "wiring.v_ab.position"),
    ("four channels", "h_a = { channel = 2, probe_ratio = 1.0, skew_s = 0.0, lag_s = 0.0 }",
     "h_a = { channel = 2, position = 2 }", "wiring.h_a.position"),
    ("four channels", "h_c = {", "# h_c = {", "wiring.h_c"),
    ("four channels", "v_ca = { channel = 4", "v_ca = { channel = 3", "wiring.v_ca.channel"),
    ("four channels", "embedded_switched_digitizer", "embedded_digitizer", "instruments.digitizer.dialect"),
    ("four channels", "settle_s = 0.05", "settle_s = -1.0", "input_switch.settle_s"),
    ("two instruments", "[sensor_wiring]", "[sensor_wires]", "sensor_wires"),
    ("two instruments", "[sensor_wiring]\nv_ab", "[sensor_wiring]\n# v_ab", "sensor_wiring.v_ab"),
    ("two instruments", "v_bc = {", "# v_bc = {", "wiring.v_bc"),
    ("two instruments", "h_b = { channel = 3", "h_b = { channel = 2", "sensor_wiring.h_b.channel"),
    ("two instruments", "v_bc = { channel = 2,", "v_bc = { channel = 2, position = 1,", "wiring"),
])
def test_each_fault_is_told(tmp_path, kind, old, new, key):
    text = STARTERS[kind]
    assert old in text
    with pytest.raises(FileContractError) as caught:
        parse(text.replace(old, new), tmp_path)
    assert key in {fault.key for fault in caught.value.faults}


def test_a_digitizer_without_wiring_and_a_wiring_without_digitizer_are_told(tmp_path):
    text = STARTERS["two instruments"]
    begin, end = text.index("[sensor_wiring]"), text.index("# The seven roles")
    with pytest.raises(FileContractError, match="sensor_wiring"):
        parse(text[:begin] + text[end:], tmp_path)
    with pytest.raises(FileContractError, match=r"instruments\.sensor_digitizer"):
        parse(text[:text.index("[instruments.sensor_digitizer]")], tmp_path)


def test_lines_and_sensors_torn_apart_or_in_three_captures_are_told():
    torn = wired(v_ab=(1, 0), h_a=(2, 0), v_bc=(3, 1), h_b=(4, 1), v_ca=(3, 2), h_c=(4, 2))
    assert [fault.key for fault in wiring_faults(torn, {}, "b")] == ["wiring"]
    three = wired(v_ab=(1, 0), h_a=(2, 0), v_bc=(3, 1), v_ca=(4, 1), h_b=(3, 2), h_c=(3, 3))
    assert [fault.key for fault in wiring_faults(three, {}, "b")] == ["wiring"]


def test_the_lines_come_first_whatever_the_positions():
    parts = capture_parts(wired(v_ab=(1, 0), h_a=(2, 0), v_bc=(3, 2), v_ca=(4, 2), h_b=(3, 1), h_c=(4, 1)), {})
    assert [part.has_lines for part in parts] == [True, False]
