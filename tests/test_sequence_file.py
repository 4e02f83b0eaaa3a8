"""Sequence files: what they hold, and that every fault is told."""

from pathlib import Path

import pytest

import station
from station.errors import FileContractError
from station.sequence_file import BackDriveStep, parse_sequence
from station.toml_file import parse_toml, read_toml

SHIPPED = sorted((Path(station.__file__).parent.parent / "sequences").glob("*.toml"))
STANDARD = next(path for path in SHIPPED if path.name == "standard.toml")


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.name)
def test_shipped_sequences_hold(path):
    sequence = parse_sequence(read_toml(path))
    assert sequence.steps
    assert sequence.max_speed_rpm() > 0


def test_labels_and_targets_go_together():
    sequence = parse_sequence(read_toml(STANDARD))
    step = next(step for step in sequence.steps if isinstance(step, BackDriveStep))
    assert step.labels() == ["forward 1000", "forward 2000", "reverse 1000", "reverse 2000"]
    assert step.targets_rpm() == [1000, 2000, -1000, -2000]


def test_faults_are_all_told():
    source = parse_toml(b"""
format = 1
[sequence]
name = ""
revision = "A"
[[step]]
kind = "insulation"
name = "Insulation"
voltage_V = 5000.0
dwell_s = 1.0
deadline_s = -1.0
[[step]]
kind = "dance"
name = "Dance"
""", "bad.toml")
    with pytest.raises(FileContractError) as caught:
        parse_sequence(source)
    text = str(caught.value)
    for part in ("sequence.name", "voltage_V", "deadline_s", "step.1.kind: got 'dance', wanted one of 'sensor"):
        assert part in text


def test_a_step_without_kind_is_told():
    source = parse_toml(STANDARD.read_bytes() + b"\n[[step]]\n", "bad.toml")
    with pytest.raises(FileContractError, match=r"step\.\d\.kind: got nothing, wanted a value"):
        parse_sequence(source)


def test_codes_of_all_captures_are_counted():
    sequence = parse_sequence(read_toml(STANDARD))
    samples = 2 * (round(12 * 60 / 1000 / 4e-6) + round(12 * 60 / 2000 / 4e-6))     # both directions
    assert sequence.capture_bytes() == pytest.approx(12 * samples, abs=12 * 4)
    step = next(step for step in sequence.steps if isinstance(step, BackDriveStep))
    finer = step.model_copy(update={"sensor_sample_interval_s": step.sample_interval_s / 4})
    assert finer.capture_bytes() == pytest.approx(4 * step.capture_bytes(), rel=1e-3)


@pytest.mark.parametrize(("old", "new"), [
    ('["forward", "reverse"]', '["forward", "forward"]'), ("[1000.0, 2000.0]", "[1000.0, 1000.0, 2000.0]"),
    ("[1000.0, 2000.0]", "[1000.0, 2000.0, 2000.0000001]"),     # one label, though two numbers
])
def test_no_capture_is_taken_twice_in_a_step(old, new):
    text = STANDARD.read_text()
    assert old in text
    with pytest.raises(FileContractError, match=r"step\.3\.back-drive: got a second capture forward [12]000"):
        parse_sequence(parse_toml(text.replace(old, new).encode(), "twice.toml"))


def test_no_capture_is_taken_twice_in_two_steps():
    """The later value would take the place of one that failed."""
    text = STANDARD.read_text()
    again = text[text.rindex("[[step]]"):].replace("speeds_rpm = [1000.0, 2000.0]", "speeds_rpm = [500.0, 2000.0]")
    with pytest.raises(FileContractError) as caught:
        parse_sequence(parse_toml((text + again).encode(), "twice.toml"))
    assert [fault.got for fault in caught.value.faults] == ["a second capture forward 2000",
                                                            "a second capture reverse 2000"]
