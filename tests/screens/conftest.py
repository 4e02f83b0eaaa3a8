"""A station of its own on the simulated bench, its pages served on a real socket, and somebody who asks for them."""

import threading
import time
from contextlib import contextmanager

import httpx
import pytest

from station.cli import program
from station.cli.serve import opened_site
from station.cli.setup import write_folder
from station.clock import system_clock
from station.screens.access import Role
from station.screens.server import make_server
from station.sequence.station_file import load_station
from station.simulated.free_port import free_ports

PASSWORD = "a password for tests"
BADGE = "B-1001"
PEOPLE = {Role.ENGINEER: "R. Fink", Role.RELEASER: "S. Olm", Role.AUDITOR: "T. Elster", Role.KEEPER: "U. Rabe"}
OPERATOR = "K. Amsel"


@contextmanager
def served(site):
    """Serve the pages of `site` at a free port; yield the address."""
    (port,) = free_ports(1)
    server = make_server(site, port)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        time.sleep(0.01)
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join(10)


def with_people(site):
    """Add one person for each role, and return the site."""
    site.people.add(OPERATOR, [Role.OPERATOR], badge=BADGE)
    for role, name in PEOPLE.items():
        site.people.add(name, [role], password=PASSWORD)
    return site


@pytest.fixture(scope="session")
def serving():
    """Return the function that serves a site, as a context of its address."""
    return served


@pytest.fixture(scope="session")
def peopled():
    """Return the function that adds one person for each role to a site."""
    return with_people


@contextmanager
def open_line(folder):
    """Yield the site of a starter folder of its own, its bench open."""
    write_folder(folder, pace=50.0, free_ports=True)
    with opened_site(load_station(folder / "station.toml"), system_clock(), look_only=False) as opened:
        yield with_people(opened)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    with open_line(tmp_path_factory.mktemp("screens") / "line") as opened:
        yield opened


@pytest.fixture
def fresh_site(tmp_path):
    """A line that nobody has used yet."""
    with open_line(tmp_path / "line") as opened:
        yield opened


@pytest.fixture
def fresh_address(fresh_site):
    with served(fresh_site) as where:
        yield where


@pytest.fixture(scope="session")
def tested(tmp_path_factory):
    """A station with two tested motors, one good and one with a reversed magnet, to be looked at only."""
    folder = tmp_path_factory.mktemp("tested") / "line"
    write_folder(folder, pace=50.0, free_ports=True)
    program.run(["test", "CP40-0001", "CP40-0102", "--station", str(folder / "station.toml")])
    with opened_site(load_station(folder / "station.toml"), system_clock(), look_only=True) as opened:
        yield with_people(opened)


@pytest.fixture(scope="session")
def accounts():
    """Return name and password of somebody in each role that signs in by them."""
    return {role: {"name": name, "password": PASSWORD} for role, name in PEOPLE.items()}


@pytest.fixture(scope="module")
def address(site):
    with served(site) as where:
        yield where


@pytest.fixture(scope="session")
def tested_address(tested):
    with served(tested) as where:
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
def asked(address):
    """Return a function that gives a client signed in as a role, or as nobody for None."""
    opened = []

    def client(role=None):
        one = httpx.Client(base_url=address, headers={"origin": address}, timeout=20)
        opened.append(one)
        if role is Role.OPERATOR:
            assert one.post("/line/scan", data={"text": BADGE}).headers["location"] == "/line"
        elif role is not None:
            entered = one.post("/sign-in", data={"name": PEOPLE[role], "password": PASSWORD})
            assert entered.status_code == 303, entered.text
        return one

    yield client
    for one in opened:
        one.close()
