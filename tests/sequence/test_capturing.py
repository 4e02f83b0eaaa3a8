"""The order of what the station says while the drive turns the motor, as the exchanges of a run tell it."""

import json
from itertools import pairwise

import pytest

from station.cli.setup import write_folder
from station.cli.workplace import open_workplace
from station.sequence.progress import unwatched
from station.sequence.station_file import load_station


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """The record of a run, and what was said to the instruments in order: (role, text)."""
    folder = tmp_path_factory.mktemp("run") / "line"
    write_folder(folder, pace=5.0, free_ports=True)
    with open_workplace(load_station(folder / "station.toml"), "tester") as place:
        record = place.test("CP40-0001", unwatched).record
        lines = [json.loads(line) for line in place.store.transcript(record).splitlines()]
    assert record["verdict"] == "PASS", record["reason"]
    return record, [(line["role"], line["text"]) for line in lines if line["direction"] == "to"]


def _places(said, role, beginning):
    return [index for index, (who, text) in enumerate(said) if who == role and text.startswith(beginning)]


def test_codes_are_fetched_after_the_drive_was_sent_to_the_next_speed(told):
    record, said = told
    starts, fetches = _places(said, "digitizer", "INIT"), _places(said, "digitizer", "TRAC")
    speeds = _places(said, "drive", "SOUR:SPE ")
    assert len(starts) == len(record["captures"])
    for start, following in zip(starts, [*starts[1:], len(said)], strict=True):
        fetched = [index for index in fetches if start < index < following]
        ordered = [index for index in speeds if start < index < following]
        assert fetched
        assert ordered[0] < fetched[-1]


def test_inputs_are_set_before_the_capture_and_after_the_codes_of_the_one_before_are_in(told):
    _, said = told
    starts, fetches = _places(said, "digitizer", "INIT"), _places(said, "digitizer", "TRAC")
    for start, following in pairwise(starts):
        settings = [index for index in range(start, following)
                    if said[index][0] == "digitizer" and "RANG " in said[index][1]]
        assert max(index for index in fetches if index < following) < min(settings)


def test_nothing_moves_before_the_winding_is_found_discharged_and_sensors_have_power_again(told):
    _, said = told
    on = _places(said, "drive", "OUTP ON")[0]
    assert max(_places(said, "insulation", "OUTP ON")) < max(
        index for index in _places(said, "insulation", "MEAS:VOLT") if index < on) < on
    assert [index for index in _places(said, "supply", "OUTP ON") if index < on][-1] > max(
        _places(said, "insulation", "OUTP ON"))


def test_the_record_says_where_the_time_went(told):
    record, _ = told
    kinds = {(row["step"], row["phase"]): row["kind"] for row in record["timing"]}
    assert kinds["Back-drive", "capture"] == "physics"
    assert kinds["Back-drive", "transfer"] == "meanwhile"
    assert kinds["Before START", "waiting for START"] == "person"
    assert all(row["seconds"] >= 0 for row in record["timing"])
