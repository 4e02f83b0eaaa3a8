"""What people do at a served station stands in its log, with nobody doing anything for it."""

import time

from station.cli.serve import opened_site
from station.cli.setup import write_folder
from station.clock import system_clock
from station.record.store import Store
from station.screens import line
from station.screens.access import Role
from station.sequence.station_file import load_station

PATIENCE = 60       # s, of a loaded machine


def entries(site):
    with site.store() as store:
        return [(entry["who"], entry["what"], entry["good"]) for said in store.statements("trail")
                for entry in said["entries"]]


def test_what_is_done_on_the_pages_comes_into_the_log_while_the_line_rests(asked, site, monkeypatch):
    monkeypatch.setattr(line, "ENTER", 0.5)
    asked(Role.ENGINEER)
    end = time.monotonic() + PATIENCE
    while ("R. Fink", "sign in", True) not in entries(site) and time.monotonic() < end:
        time.sleep(0.1)
    assert entries(site).count(("R. Fink", "sign in", True)) == 1


def test_what_is_left_at_the_end_is_entered_then(tmp_path):
    folder = tmp_path / "line"
    write_folder(folder, pace=50.0, free_ports=True)
    station = load_station(folder / "station.toml")
    with opened_site(station, system_clock(), look_only=False) as site:
        for number in range(3):
            site.trail.add("A. Pirol", "scan", where="here", about=str(number))
    with Store(station.store, read_only=True) as store:
        said = store.statements("trail")
        assert [entry["about"] for one in said for entry in one["entries"]] == ["0", "1", "2"]
        assert site.trail.waiting(store) == []
