"""A real line on the simulated bench beside a real plant: motors arrive, and the operator reads how it stands."""

import re
import shutil
import time
from contextlib import closing, contextmanager
from dataclasses import replace

import httpx
import pytest
from faulty_link import faulty_link
from served_plant import served, write_plant

from station.cli import program
from station.cli.forwarding import open_hand_over
from station.cli.serve import opened_site
from station.cli.setup import write_folder
from station.clock import system_clock
from station.exit_code import ExitCode
from station.listener import bound, running
from station.plant import forward_thread
from station.plant.alarms import open_alarms, settle
from station.plant.database import open_database
from station.plant.plant_file import load_plant
from station.plant.questions import find_tests
from station.plant.refused import ForkError
from station.plant.stations import add_station
from station.record.cosignature import load_witness
from station.record.log_key import LogKey
from station.record.store import Store
from station.screens import line as screens_line
from station.screens.access import Role
from station.screens.server import make_server
from station.sequence.station_file import load_station
from station.simulated.free_port import free_ports

PATIENCE = 60       # s


@pytest.fixture
def plant_file(plant_address, tmp_path):
    (tmp_path / "works").mkdir()
    return write_plant(tmp_path / "works", plant_address("sqlite"))


@pytest.fixture
def link(plant_file):
    with served(plant_file) as desk, faulty_link(load_plant(plant_file).port) as carried:
        carried.desk = desk
        yield carried


@pytest.fixture
def line(plant_file, link, tmp_path):
    """The station file of a line that hands over through `link`."""
    folder = tmp_path / "line"
    write_folder(folder, pace=50.0, free_ports=True)
    file = folder / "station.toml"
    plant = load_plant(plant_file)
    (folder / "plant.pub").write_text(f"{load_witness(plant.keys / 'witness.pub')}\n")
    file.write_text(f'{file.read_text()}\n[plant]\nurl = "http://127.0.0.1:{link.port}"\nwitness = "plant.pub"\n')
    key = LogKey.load(load_station(file).keys)
    with closing(open_database(plant.database)) as database:
        add_station(database, str(key.verifier), person="U. Rabe", at=system_clock().utc())
    return file


def arrived(link, serial):
    with link.desk.database.reading() as connection:
        return [(found.run, found.verdict) for found in find_tests(connection, serial)]


def test_a_motor_just_tested_is_at_the_plant_when_the_command_ends(line, link, plant_file):
    assert program.run(["test", "CP40-0001", "--station", str(line)]) == ExitCode.PASS
    assert arrived(link, "CP40-0001") == [(1, "PASS")]
    ours, theirs = load_station(line).store, load_plant(plant_file).folder / "archive" / load_station(line).origin
    for part in ("captures", "files", "certificates"):
        kept = {path.name: path.read_bytes() for path in (ours / part).iterdir()}
        assert {path.name: path.read_bytes() for path in (theirs / part).iterdir()} == kept != {}


def test_nothing_waits_for_a_plant_that_is_away(line, link, capfd):
    link.cut()
    try:
        assert program.run(["test", "CP40-0001", "--station", str(line)]) == ExitCode.PASS
    finally:
        link.mend()
    assert "the plant gave no answer" in capfd.readouterr().err
    with Store(load_station(line).store, read_only=True) as store:
        assert len(store.show("CP40-0001")) == 1
    assert arrived(link, "CP40-0001") == []
    assert program.run(["plant", "forward", "--once", "--station", str(line)]) == ExitCode.PASS
    assert arrived(link, "CP40-0001") == [(1, "PASS")]
    assert "1 of 1 entries handed over, with the files of 1" in capfd.readouterr().out


def test_the_operator_reads_how_it_stands(line, link, tmp_path, monkeypatch):
    for name in ("ASK_AGAIN", "FIRST_PAUSE", "LONGEST_PAUSE"):
        monkeypatch.setattr(forward_thread, name, 0.2)
    monkeypatch.setattr(screens_line, "LOOK_AROUND", 0.2)
    station = load_station(line)
    assert program.run(["test", "CP40-0001", "--station", str(line)]) == ExitCode.PASS
    shutil.copytree(station.store, tmp_path / "image")
    note = ["CP40-0001", "--run", "1", "--what", "note", "--person", "R. Fink", "--reason", "shown to a visitor"]
    assert program.run(["records", "correct", *note, "--station", str(line)]) == ExitCode.PASS
    with panel_of(station) as panel:
        await_words(panel, r"handed over up to entry [0-9]+<")
        link.cut()
        await_words(panel, r"not reachable since 20[0-9-]+ [0-9:]+: nothing is lost<")
        link.mend()
        await_words(panel, r"handed over up to entry [0-9]+<")
        with pytest.raises(ForkError):
            handed_over_from(tmp_path / "image", station)       # by whoever has a copy of the disk
        await_words(panel, r"<strong>ALARM there about this station. Call the engineer.</strong>")
        with link.desk.database.reading() as connection:
            alarm, = open_alarms(connection)
        now = system_clock().utc()
        settle(link.desk.database, alarm.number, person="R. Fink", reason="the image is destroyed", at=now)
        await_words(panel, r"handed over up to entry [0-9]+<")
    assert program.run(["log", "check", "--station", str(line)]) == ExitCode.PASS
    shutil.rmtree(station.store)
    shutil.copytree(tmp_path / "image", station.store)      # the disk is set back
    with panel_of(station) as panel:
        await_words(panel, r"<strong>FORK: another log under this name. Call the engineer.</strong>")
    assert program.run(["plant", "forward", "--once", "--station", str(line)]) == ExitCode.EVIDENCE


@contextmanager
def panel_of(station):
    """The line at work, its pages served, and an operator signed in at its panel."""
    (port,) = free_ports(1)
    where = f"http://127.0.0.1:{port}"
    with opened_site(station, system_clock(), look_only=False) as site:
        if not site.people.by_badge("B-1001"):
            site.people.add("K. Amsel", [Role.OPERATOR], badge="B-1001")
        with (closing(bound("127.0.0.1", port)) as socket, running(make_server(site, port), socket),
              httpx.Client(base_url=where, headers={"origin": where}) as client):
            assert client.post("/line/scan", data={"text": "B-1001"}).status_code == 303
            yield client


def handed_over_from(store, station):
    """Hand over from an image of the store, with the station's key."""
    return open_hand_over(replace(station, store=store), system_clock()).work(lambda: True)


def await_words(client, pattern):
    """Wait until the operator's page says so of handing over."""
    until = time.monotonic() + PATIENCE
    while not re.search(f'<dd class="hand-over">{pattern}', page := client.get("/line").text):
        assert time.monotonic() < until, page
        time.sleep(0.1)
