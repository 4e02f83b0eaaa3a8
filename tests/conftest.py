"""What tests of several rooms stand on: a real printer, served pages, records that keep to their schema, no clock."""

import importlib.util
import os
import shutil
from contextlib import closing, contextmanager
from pathlib import Path

# As tests/environment does, for who runs pytest without it: values of this process shall have the bits of all others.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

from station.cli.population import make_population
from station.listener import bound, running
from station.record.record_schema import check_record
from station.screens.demo_people import PEOPLE, let_in
from station.screens.server import HOST, make_server
from station.sequence.run import Runner

# How long an example takes is a matter of what else the machine does, and no reason to fail.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


@pytest.fixture(scope="session", autouse=True)
def every_record_keeps_to_its_schema():
    """Hold each record that any test makes at a bench against the schema, however its run ended."""
    run = Runner.run

    def checked(*words, **options):
        result = run(*words, **options)
        check_record(result.record)
        return result

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Runner, "run", checked)
        yield


@pytest.fixture(scope="session")
def printers():
    spec = importlib.util.spec_from_file_location("real_printer", Path(__file__).with_name("real_printer.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def message_bus(printers):
    with printers.message_bus() as address:
        yield address


@pytest.fixture
def printer(printers, message_bus, tmp_path):
    """A printer, still off."""
    one = printers.RealPrinter(tmp_path / "printer", message_bus)
    yield one
    one.stop()


@pytest.fixture(scope="session")
def population(tmp_path_factory):
    """Return a function that puts a station with 30 motors drawn from a seed into a folder that is not there yet."""
    made = tmp_path_factory.mktemp("population") / "line"
    make_population(made, 30)
    return lambda folder: shutil.copytree(made, folder)


@contextmanager
def served(site):
    """Serve the pages of `site` at a free port; yield the address, and end without waiting for anybody."""
    with closing(bound(HOST, 0)) as listening:
        port = listening.getsockname()[1]
        with running(make_server(site, port), listening) as server:
            try:
                yield f"http://{HOST}:{port}"
            finally:
                server.force_exit = True


@pytest.fixture(scope="session")
def serving():
    """Return the function that serves a site, as a context of its address."""
    return served


@pytest.fixture(scope="session")
def peopled():
    """Return the function that gives the people of the demonstration, one for each role, accounts at a site."""
    def with_people(site):
        let_in(site.station, site.trail, "tests")
        return site

    return with_people


@pytest.fixture(scope="session")
def accounts():
    """Return name and password of somebody in each role that signs in by them."""
    return {one.role: {"name": one.name, "password": one.password} for one in PEOPLE if one.password}
