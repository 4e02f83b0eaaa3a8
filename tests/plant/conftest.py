"""A plant on each of the databases that it may have: one suite, carried out on SQLite and on a real PostgreSQL."""

import itertools
import shutil
import sys
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from sqlalchemy import make_url

from station.clock import system_clock
from station.listener import bound, running
from station.plant.database import open_database
from station.plant.plant_file import load_plant
from station.plant.server import make_server, opened_desk
from station.plant.upgrade import upgrade
from station.record.cosignature import WitnessKey
from station.simulated.free_port import free_ports

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "record")]       # of the server below, and what stores hold

KINDS = ["sqlite", "postgresql"]


@pytest.fixture(scope="session")
def postgresql():
    """A server of PostgreSQL that runs for all tests of this process."""
    from real_postgresql import running

    with running() as server:
        yield server


@pytest.fixture(scope="session")
def new_address(request, tmp_path_factory):
    """Return a function that gives the address of an empty database of a kind."""
    def address(kind):
        if kind == "sqlite":
            return f"sqlite:///{tmp_path_factory.mktemp('plant') / 'plant.sqlite'}"
        return request.getfixturevalue("postgresql").new_database()
    return address


@pytest.fixture(scope="session")
def plant_address(request, new_address, tmp_path_factory):
    """Return a function that gives the address of a database of a kind with the tables of a plant in it.

    They are made once for each kind; what is given is a copy of that.
    """
    made = {}

    def address(kind):
        if kind not in made:
            made[kind] = new_address(kind)
            first = opened(made[kind])
            upgrade(first)
            first.close()
        if kind == "sqlite":
            copy = tmp_path_factory.mktemp("plant") / "plant.sqlite"
            shutil.copy(made[kind].removeprefix("sqlite:///"), copy)
            return f"sqlite:///{copy}"
        return request.getfixturevalue("postgresql").new_database(made[kind].rpartition("/")[2])
    return address


def opened(address):
    return open_database(make_url(address.replace("postgresql:", "postgresql+psycopg:")))


@pytest.fixture(params=KINDS, scope="module")
def kind(request):
    """The kind of database that the tests of a module are carried out on, one after the other."""
    return request.param


@pytest.fixture
def empty_database(kind, new_address):
    """A database of its own without any table."""
    one = opened(new_address(kind))
    yield one
    one.close()


@pytest.fixture
def database(kind, plant_address):
    """A database of its own with the tables of a plant."""
    one = opened(plant_address(kind))
    yield one
    one.close()


@pytest.fixture(scope="module")
def shared_database(kind, plant_address):
    """A database for all tests of a module, each with a station of its own."""
    one = opened(plant_address(kind))
    yield one
    one.close()


@pytest.fixture(scope="session")
def new_origin():
    """Return a function that gives names of logs that no other test has; they hold a slash."""
    return map("varnholt.example/line-{}".format, itertools.count(1)).__next__


PLANT = """format = 1
[plant]
name = "varnholt-works"
[database]
url = "{url}"
[archive]
url = "{archive}"
[server]
port = {port}
"""


@pytest.fixture(scope="module")
def plant(kind, plant_address, tmp_path_factory):
    """A plant as its file describes it, with a database and a key, for all tests of a module."""
    folder = tmp_path_factory.mktemp("works")
    (port,) = free_ports(1)
    (folder / "plant.toml").write_text(PLANT.format(url=plant_address(kind), archive="archive", port=port))
    WitnessKey.make(folder / "keys", "varnholt-works")
    return load_plant(folder / "plant.toml")


@contextmanager
def served(plant, clock=None):
    """Serve a plant at its address; yield its desk."""
    with opened_desk(plant, clock or system_clock()) as desk, closing(bound(plant.host, plant.port)) as socket:
        server = make_server(desk, plant, system_clock())
        with running(server, socket):
            yield desk


@pytest.fixture(scope="session")
def serving():
    """Return the function that serves a plant, as a context of its desk."""
    return served
