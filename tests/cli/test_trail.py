"""`station trail`: what stands in the log and what waits for it, and a file of accounts that was changed."""

import json
import sqlite3

import pytest

from station.cli import program
from station.cli.setup import write_folder
from station.clock import system_clock
from station.screens.people import DATABASE, People
from station.screens.site import people_folder
from station.screens.trail import Trail
from station.sequence.opening import open_store
from station.sequence.station_file import load_station


@pytest.fixture
def line(tmp_path):
    write_folder(tmp_path / "line", pace=50.0, free_ports=True)
    return load_station(tmp_path / "line" / "station.toml")


@pytest.fixture
def kept(line):
    trail = Trail(People(people_folder(line), system_clock()), system_clock())
    trail.add("A. Pirol", "scan", where="here", about="CP40-0001")
    trail.add("B. Star", "sign in", where="here", good=False)
    return trail


def asked(line, capsys, *words):
    code = program.run(["trail", "--station", str(line.file), *words])
    return code, capsys.readouterr()


def lines(line, capsys, *words):
    code, told = asked(line, capsys, "--json", *words)
    assert code == 0
    return [(entry["who"], entry["good"], entry["in_log"]) for entry in map(json.loads, told.out.splitlines())]


def test_what_waits_and_what_is_in_the_log(line, kept, capsys):
    assert lines(line, capsys) == [("A. Pirol", True, False), ("B. Star", False, False)]
    with open_store(line) as store:
        kept.enter(store)
    kept.add("A. Pirol", "scan", where="here", about="[red]CP40-0002")
    assert lines(line, capsys) == [("A. Pirol", True, True), ("B. Star", False, True), ("A. Pirol", True, False)]
    assert lines(line, capsys, "--person", "B. Star") == [("B. Star", False, True)]
    assert lines(line, capsys, "--since", "9999-01-01") == []
    code, told = asked(line, capsys)
    assert code == 0
    assert "[red]CP40-0002" in told.out
    assert "sign in: refused" in told.out


def test_a_changed_file_of_accounts_is_told_beside_what_the_log_has(line, kept, capsys):
    with open_store(line) as store:
        kept.enter(store)
    forger = sqlite3.connect(people_folder(line) / DATABASE)
    forger.executescript("DROP TRIGGER trail_update; "
                         "UPDATE trail SET body = CAST(replace(CAST(body AS TEXT), 'Pirol', 'Star') AS BLOB);")
    forger.close()
    code, told = asked(line, capsys)
    assert code == 7
    assert "A. Pirol" in told.out
    assert "does not have what was entered into the log" in told.err
