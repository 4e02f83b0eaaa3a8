"""A station of its own on the simulated bench, its pages served on a real socket, and somebody who asks for them."""

from contextlib import contextmanager

import httpx
import pytest

from station.cli import program
from station.cli.serve import opened_site
from station.cli.setup import write_folder
from station.clock import system_clock
from station.screens.access import Role
from station.screens.demo_people import OPERATOR
from station.sequence.station_file import load_station


@contextmanager
def open_line(folder):
    """Yield the site of a starter folder of its own, its bench open."""
    write_folder(folder, pace=50.0, free_ports=True)
    with opened_site(load_station(folder / "station.toml"), system_clock(), look_only=False) as opened:
        yield opened


@pytest.fixture(scope="module")
def site(tmp_path_factory, peopled):
    with open_line(tmp_path_factory.mktemp("screens") / "line") as opened:
        yield peopled(opened)


@pytest.fixture
def fresh_site(tmp_path, peopled):
    """A line that nobody has used yet."""
    with open_line(tmp_path / "line") as opened:
        yield peopled(opened)


@pytest.fixture
def fresh_address(fresh_site, serving):
    with serving(fresh_site) as where:
        yield where


@pytest.fixture(scope="session")
def tested(tmp_path_factory, peopled):
    """A station with two tested motors, one good and one with a reversed magnet, to be looked at only."""
    folder = tmp_path_factory.mktemp("tested") / "line"
    write_folder(folder, pace=50.0, free_ports=True)
    program.run(["test", "CP40-0001", "CP40-0102", "--station", str(folder / "station.toml")])
    with opened_site(load_station(folder / "station.toml"), system_clock(), look_only=True) as opened:
        yield peopled(opened)


@pytest.fixture(scope="module")
def address(site, serving):
    with serving(site) as where:
        yield where


@pytest.fixture(scope="session")
def tested_address(tested, serving):
    with serving(tested) as where:
        yield where


@pytest.fixture
def reads(tested_address, accounts):
    """Return a function that gives a client signed in as a role where tests are stored."""
    opened = []

    def client(role):
        one = httpx.Client(base_url=tested_address, headers={"origin": tested_address}, timeout=20)
        opened.append(one)
        assert one.post("/sign-in", data=accounts[role]).status_code == 303
        return one

    yield client
    for one in opened:
        one.close()


@pytest.fixture
def asked(address, accounts):
    """Return a function that gives a client signed in as a role, or as nobody for None."""
    opened = []

    def client(role=None):
        one = httpx.Client(base_url=address, headers={"origin": address}, timeout=20)
        opened.append(one)
        if role is Role.OPERATOR:
            assert one.post("/line/scan", data={"text": OPERATOR.badge}).headers["location"] == "/line"
        elif role is not None:
            entered = one.post("/sign-in", data=accounts[role])
            assert entered.status_code == 303, entered.text
        return one

    yield client
    for one in opened:
        one.close()
