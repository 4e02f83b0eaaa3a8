"""station.bench.modbus_wire against the simulated drive: numbers of every kind in either order of words."""

from pathlib import Path

import pytest

import station.simulated.lot as lot_module
from station.bench.modbus_wire import ModbusWire, RefusedError
from station.bench.register_map import Register
from station.clock import system_clock
from station.simulated.lot import load_lot
from station.simulated.modbus_drive import ModbusDrive
from station.simulated.modbus_server import ModbusServer
from station.simulated.rig import Rig

TARGET = Register(0x0110, "int32")
LIMIT = Register(0x0114, "uint32")
VELOCITY = Register(0x0140, "int16")
UNTIL = 5.0     # s from now


@pytest.fixture(params=[(True, True), (True, False), (False, True)], ids=["big", "big, function 16", "little"])
def wire(request):
    big, single = request.param
    clock = system_clock()
    rig = Rig(load_lot(Path(lot_module.__file__).with_name("demo_lot.toml")), seed=7)
    with ModbusServer(ModbusDrive(rig, clock.monotonic), 0, big_word_first=big) as server:
        opened = ModbusWire(("127.0.0.1", server.port), 1, clock.monotonic, clock.monotonic() + UNTIL,
                            big_word_first=big, write_single=single)
        yield opened
        opened.close()


@pytest.fixture
def until():
    return system_clock().monotonic() + UNTIL


@pytest.mark.parametrize(("register", "raw"), [
    (TARGET, 123_456), (TARGET, -123_456), (TARGET, -1), (VELOCITY, 1500), (VELOCITY, -1500), (LIMIT, 70_000),
])
def test_numbers_come_back_as_written(wire, until, register, raw):
    wire.write(register, raw, until)
    assert wire.read(register, until) == raw


@pytest.mark.parametrize(("register", "raw"), [(VELOCITY, 1 << 15), (LIMIT, -1), (TARGET, 1 << 31)])
def test_numbers_that_do_not_fit_are_not_sent(wire, until, register, raw):
    before = wire.read(register, until)
    with pytest.raises(ValueError, match="outside"):
        wire.write(register, raw, until)
    assert wire.read(register, until) == before


def test_refusals_leave_the_connection_in_step(wire, until):
    with pytest.raises(RefusedError, match="illegal address"):
        wire.read(Register(0x0999), until)
    with pytest.raises(RefusedError, match="no object 119"):
        wire.identification(0x77, until)
    assert wire.identification(1, until) == "DRIVE-402"
    assert not wire.has_unread()


def test_past_deadline_is_a_timeout(wire):
    with pytest.raises(TimeoutError):
        wire.read(LIMIT, system_clock().monotonic() - 1.0)
