"""station.simulated.modbus_drive, spoken to from outside by a plain pymodbus client."""

from contextlib import contextmanager
from pathlib import Path

import pytest
from pymodbus.client import ModbusTcpClient

import station.simulated.lot as lot_module
from station.clock import system_clock
from station.simulated.lot import load_lot
from station.simulated.modbus_drive import ModbusDrive
from station.simulated.modbus_server import ModbusServer
from station.simulated.rig import Rig

STATUS, FAULT, MODE, LOSS = 0x101, 0x102, 0x103, 0x106
LOT = Path(lot_module.__file__).with_name("demo_lot.toml")


class Outside:
    """A client with the station's code nowhere in it."""

    def __init__(self, port):
        self._client = ModbusTcpClient("127.0.0.1", port=port, timeout=2, retries=0)
        assert self._client.connect()

    def word(self, address):
        return self._client.read_holding_registers(address, count=1, device_id=1).registers[0]

    def state(self):
        return self.word(STATUS) & 0x6F

    def control(self, word):
        self.put(0x100, word)

    def put(self, address, *words):
        answer = self._client.write_registers(address, list(words), device_id=1)
        assert not answer.isError(), answer

    def refuses(self, address, *words):
        return self._client.write_registers(address, list(words), device_id=1).exception_code

    def wide(self, address):
        high, low = self._client.read_holding_registers(address, count=2, device_id=1).registers
        raw = high << 16 | low
        return raw - (1 << 32) if raw >> 31 else raw

    def put_wide(self, address, number):
        self.put(address, number >> 16 & 0xFFFF, number & 0xFFFF)

    def enable(self, mode, operation=0x0F):
        self.put(MODE, mode)
        for word in (0x06, 0x07, operation):
            self.control(word)

    def identification(self, code, number):
        return self._client.read_device_information(read_code=code, object_id=number, device_id=1).information

    def close(self):
        self._client.close()


@contextmanager
def serving(serial="CP40-0001"):
    clock = system_clock()
    rig = Rig(load_lot(LOT), seed=7, pace=20.0)
    rig.place(serial)
    rig.arm(True)
    rig.press_start()
    with ModbusServer(ModbusDrive(rig, clock.monotonic), 0) as server:
        client = Outside(server.port)
        try:
            yield client, rig, clock
        finally:
            client.close()


@pytest.fixture
def drive():
    with serving() as parts:
        yield parts


def wait(reached, clock):
    end = clock.monotonic() + 20.0
    while not reached():
        assert clock.monotonic() < end, "never reached"
        clock.pause(0.005)


def test_profile_velocity_turns_both_ways(drive):
    client, rig, clock = drive
    client.enable(mode=3)
    for rpm in (800, -600):
        client.put_wide(0x110, rpm * 100)
        wait(lambda: client.word(STATUS) & 1 << 10, clock)
        assert client.wide(0x112) == pytest.approx(rpm * 100, rel=0.01)
        assert rig.shaft.speed_rpm(rig.now()) == pytest.approx(rpm, rel=0.01)
    client.control(0x02)
    wait(lambda: client.state() == 0x40, clock)
    assert rig.shaft.speed_rpm(rig.now()) == pytest.approx(0, abs=1)


def test_velocity_mode_turns_only_with_the_ramp_bits(drive):
    client, rig, clock = drive
    client.enable(mode=2)
    client.put(0x140, 500)
    assert rig.shaft.target_rpm == 0
    client.control(0x7F)
    wait(lambda: client.word(STATUS) & 1 << 10, clock)
    assert client.word(0x141) == pytest.approx(500, abs=5)


def test_a_target_written_before_enabling_is_cleared(drive):
    client, rig, _ = drive
    client.put(MODE, 3)
    client.put_wide(0x110, 100_000)
    client.enable(mode=3)
    assert client.state() == 0x27
    assert client.wide(0x110) == 0
    assert rig.shaft.target_rpm == 0


def test_enabling_needs_start(drive):
    client, rig, _ = drive
    rig.arm(False)
    client.enable(mode=3)
    assert client.state() == 0x40
    assert not rig.shaft.enabled


def test_open_guard_is_safe_torque_off(drive):
    client, rig, _ = drive
    client.enable(mode=3)
    rig.open_guard()
    assert client.state() == 0x40
    rig.close_guard()
    client.enable(mode=3)
    assert client.state() == 0x40    # START must be given again
    assert not rig.shaft.enabled


@pytest.mark.parametrize(("reaction", "state", "code"), [
    (1, 0x08, 0x7500), (2, 0x40, 0), (3, 0x40, 0),
])
def test_lost_contact(drive, reaction, state, code):
    client, rig, clock = drive
    client.put(LOSS, reaction)
    client.put(0x130, 20)     # x 10 ms
    client.enable(mode=3)
    client.put_wide(0x110, 50_000)
    wait(lambda: not rig.shaft.enabled and abs(rig.shaft.speed_rpm(rig.now())) < 5, clock)
    assert client.state() == state
    assert client.word(FAULT) == code


def test_reading_keeps_the_watchdog_content(drive):
    client, _, clock = drive
    client.put(0x130, 30)
    client.enable(mode=3)
    end = clock.monotonic() + 0.9
    while clock.monotonic() < end:
        assert client.state() == 0x27
        clock.pause(0.02)


@pytest.mark.parametrize(("address", "words"), [
    (0x101, (0,)),              # status is read only
    (0x110, (1,)),              # half of a number
    (0x110, (0x7FFF, 0xFFFF)),  # above the speed limit
    (0x103, (6,)),              # a mode that it has not
    (0x120, (0, 0)),            # no ramp at all
    (0x999, (1,)),              # no such register
])
def test_refusals(drive, address, words):
    client, *_ = drive
    assert client.refuses(address, *words) in (2, 3)


def test_device_identification(drive):
    client, *_ = drive
    assert client.identification(1, 0) == {0: b"EMBEDDED BENCH", 1: b"DRIVE-402", 2: b"1"}
