"""The clock of the computer is set in mid-test and between tests: verdicts, order and counting stay, and it is told."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from station.cli.setup import write_folder
from station.cli.workplace import open_workplace
from station.sequence.progress import unwatched
from station.sequence.station_file import load_station


class Wall:
    """The computer's clock, with a hand on it."""

    def __init__(self):
        self.off = timedelta()

    def utc(self):
        return datetime.now(UTC) + self.off


@pytest.fixture
def place(tmp_path):
    write_folder(tmp_path / "line", pace=50.0, free_ports=True)
    with open_workplace(load_station(tmp_path / "line" / "station.toml"), "K. Lind") as opened:
        yield opened


def test_a_clock_that_is_set_reorders_nothing_and_turns_no_verdict(place):
    wall = Wall()
    place = replace(place, clock=replace(place.clock, utc=wall.utc))
    records = [place.test("CP40-0001", unwatched).record]
    wall.off = timedelta(hours=-1)
    records.append(place.test("CP40-0002", unwatched).record)

    def set_forward(notice):
        if notice.kind == "speed":
            wall.off = timedelta(hours=2)

    records.append(place.test("VB24-0001", set_forward).record)
    records.append(place.test("CP60-0001", unwatched).record)

    assert [record["verdict"] for record in records] == ["PASS", "FAIL", "PASS", "PASS"]
    assert [record["log"]["seq"] for record in records] == [0, 1, 2, 3]
    assert place.store.find() == records    # in the order of the log, not of the clock
    assert records[1]["started"] < records[0]["started"] < records[2]["ended"]
    codes = [{flag["code"] for flag in record["clock"]["flags"]} for record in records]
    assert codes == [set(), {"utc_backwards", "utc_jump"}, {"utc_jump"}, set()]
    assert [flag["seconds"] for flag in records[2]["clock"]["flags"]] == [pytest.approx(3 * 3600, abs=2)]
    assert place.store.unfinished() == []
