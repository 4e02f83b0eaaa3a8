"""A run whose drive is spoken to over Modbus: trouble in mid-turn ends in NO RESULT and a shaft at rest."""

import pytest
from broken_runs import side_port_of

from station.cli.setup import DriveKind, write_folder
from station.cli.workplace import open_workplace
from station.errors import BenchError, NoReplyError, StoppedError
from station.sequence.progress import unwatched
from station.sequence.station_file import load_station
from station.simulated.side_channel import SideChannel


@pytest.fixture
def folder(tmp_path):
    folder = tmp_path / "line"
    write_folder(folder, pace=20.0, free_ports=True, drive=DriveKind.MODBUS)
    return folder


@pytest.fixture
def side_port(folder):
    return side_port_of(folder)


@pytest.fixture
def station(folder, side_port):
    """The station file of a folder with a Modbus drive whose watchdog is short."""
    bench, file = folder / "bench.toml", folder / "station.toml"
    bench.write_text(bench.read_text().replace("watchdog_s = 5.0", "watchdog_s = 1.5"))
    file.write_text(file.read_text().replace("side_port = 0", f"side_port = {side_port}"))
    return load_station(file)


def at_rest(rig):
    return not rig.shaft.enabled and abs(rig.shaft.speed_rpm(rig.now() + 60.0)) < 1


def test_guard_opened_while_the_shaft_turns(station):
    with open_workplace(station, "tester") as place:
        rig = place.attendant.rig
        outcome = place.test("CP40-0001", lambda notice: rig.open_guard() if notice.kind == "speed" else None)
        assert isinstance(outcome.trouble, StoppedError)
        assert outcome.record["verdict"] == "NO RESULT"
        assert at_rest(rig)
        rig.close_guard()
        assert place.test("CP40-0001", unwatched).record["verdict"] == "PASS"


def test_drive_that_falls_silent_in_mid_turn_stops_by_itself(station, side_port):
    with open_workplace(station, "tester") as place, SideChannel(side_port) as side:
        rig = place.attendant.rig
        outcome = place.test("CP40-0001",
                             lambda notice: side.silence("drive", 600.0) if notice.kind == "speed" else None)
        assert isinstance(outcome.trouble, BenchError)
        assert outcome.record["verdict"] == "NO RESULT"
        assert at_rest(rig)     # no word of ours reached it
        assert rig.sensor_supply_current() == 0
        with pytest.raises(NoReplyError):
            place.bench.drive.trip()
        side.silence("drive", 0.0)
        assert place.bench.drive.trip() == "fault 7500h: contact was lost"
        assert place.test("CP40-0001", unwatched).record["verdict"] == "PASS"   # and the line goes on
