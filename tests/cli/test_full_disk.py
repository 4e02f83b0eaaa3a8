"""A station whose disk is full: no motor passes, the operator reads why, and the next test needs no repair."""

import sys
from pathlib import Path

import pytest

from station.cli.workplace import open_workplace
from station.errors import StationError
from station.exit_code import ExitCode
from station.record.room import RESERVE
from station.record.store import Store
from station.sequence.progress import unwatched
from station.sequence.station_file import load_station

sys.path.insert(0, str(Path(__file__).parents[1] / "record"))
from small_disks import fill, small_disk


def test_no_test_begins_without_room(folder, command):
    with small_disk(folder / "store", megabytes=RESERVE // 2_000_000):
        code, out, err = command("test", "CP40-0001", "--station", folder / "station.toml")
        assert code == ExitCode.NO_RESULT
        assert "too little room" in err
        assert "Free space" in err
        assert "PASS" not in out
        assert "press START" not in out
        with Store(folder / "store", read_only=True) as store:
            assert store.unfinished() == store.find() == []


@pytest.mark.parametrize("moment", ["Winding resistance", "Back-drive", "forward 2000"])
def test_a_disk_that_fills_up_during_a_test_leaves_the_motor_without_a_result(folder, moment):
    station = load_station(folder / "station.toml")
    with small_disk(folder / "store", megabytes=96), open_workplace(station, "K. Lind") as place:
        first = place.test("CP40-0001", unwatched).record
        fillers = []

        def fill_at(notice):
            if notice.text.startswith(moment) and not fillers:
                fillers.append(fill(folder / "store", 20_000))

        with pytest.raises(StationError, match=r"could not be written|failed") as caught:   # and so no verdict is shown
            place.test("CP40-0003", fill_at)
        assert "Free space" in caught.value.remedy
        assert abs(place.attendant.rig.shaft.speed_rpm(place.attendant.rig.now() + 60)) < 1
        assert place.store.find() == [first]
        fillers[0].unlink()
        assert place.close_interrupted() == ["CP40-0003"]
        assert [record["verdict"] for record in place.store.find()] == ["PASS", "NO RESULT"]
        assert place.test("VB24-0001", unwatched).record["verdict"] == "PASS"
