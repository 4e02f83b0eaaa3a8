"""station.clock: the boot id is the kernel's, and a moment holds both clocks."""

import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from station import clock
from station.clock import Clock, Moment, system_clock


def test_a_moment_is_read_from_the_clocks_given():
    noon = datetime(2026, 11, 25, 12, tzinfo=UTC)
    assert Clock(lambda: noon, lambda: 4.5, lambda _s: None).now() == Moment(noon, 4.5)


@pytest.mark.skipif(not clock.BOOT_ID.exists(), reason="only Linux tells its boot id")
def test_the_boot_id_is_that_of_every_process_of_this_boot():
    words = "from station.clock import system_clock; print(system_clock().boot_id)"
    other = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True).stdout.strip()
    assert system_clock().boot_id == other == Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    assert len(other) == 36


def test_a_computer_without_boot_id_has_none(monkeypatch, tmp_path):
    monkeypatch.setattr(clock, "BOOT_ID", tmp_path / "absent")
    assert system_clock().boot_id == ""
