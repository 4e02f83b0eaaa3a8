"""What tests of several rooms stand on: a real printer, records that keep to their schema, examples without clock."""

import importlib.util
import os
from pathlib import Path

# As tests/environment does, for who runs pytest without it: values of this process shall have the bits of all others.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

from station.record.record_schema import check_record
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
