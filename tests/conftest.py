"""What tests of several rooms stand on: a real printer."""

import importlib.util
from pathlib import Path

import pytest


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
