"""Room is looked at before anything moves: the disk itself, and what is said when it is short."""

import os

import pytest
from small_disks import fill, small_disk

from station.errors import StationError
from station.record.room import RESERVE, require_room
from station.record.store import Store


def test_there_is_room_or_it_is_told_how_much_is_missing(tmp_path):
    disk = os.statvfs(tmp_path)
    free = disk.f_bavail * disk.f_frsize
    require_room(tmp_path, 1_000_000)
    with pytest.raises(StationError, match="too little room") as caught:
        require_room(tmp_path, 2 * free)
    assert "nothing has moved" in caught.value.remedy
    assert caught.value.expected == f"{(2 * free + RESERVE) / 1e6:.1f} MB free"


def test_a_small_disk_has_room_until_it_is_filled(tmp_path):
    with small_disk(tmp_path / "disk", megabytes=64) as disk, Store(disk / "store") as store:
        store.require_room(6_000_000)
        filler = fill(disk, RESERVE + 5_000_000)
        with pytest.raises(StationError, match="too little room"):
            store.require_room(6_000_000)
        filler.unlink()
        store.require_room(6_000_000)


def test_a_disk_without_room_for_another_file_is_told(tmp_path):
    with small_disk(tmp_path / "disk", megabytes=64, files=150) as disk:
        require_room(disk, 0)
        for number in range(60):
            (disk / str(number)).touch()
        with pytest.raises(StationError, match="more files"):
            require_room(disk, 0)


def test_a_folder_that_is_gone_is_told(tmp_path):
    with pytest.raises(StationError, match="cannot be reached"):
        require_room(tmp_path / "gone", 0)
