"""station.simulated.modbus_server: ports, the order of words, and a clean end."""

import socket
from pathlib import Path
from threading import enumerate as threads

import pytest
from pymodbus.client import ModbusTcpClient

import station.simulated.lot as lot_module
from station.clock import system_clock
from station.simulated.lot import load_lot
from station.simulated.modbus_drive import ModbusDrive
from station.simulated.modbus_server import ModbusServer
from station.simulated.rig import Rig


def serve(port=0, **options):
    clock = system_clock()
    rig = Rig(load_lot(Path(lot_module.__file__).with_name("demo_lot.toml")), seed=7)
    return ModbusServer(ModbusDrive(rig, clock.monotonic), port, **options)


def client_of(server, timeout=2.0):
    client = ModbusTcpClient("127.0.0.1", port=server.port, timeout=timeout, retries=0)
    assert client.connect()
    return client


def test_taken_port_is_an_error():
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(OSError, match="listen"):
        serve(taken.getsockname()[1])


def test_nothing_is_left_after_the_end():
    before = {thread.name for thread in threads()}
    with serve() as server:
        client = client_of(server)
        client.read_holding_registers(0x101, count=1, device_id=1)
    assert {thread.name for thread in threads()} == before
    client.close()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", server.port), timeout=1).close()


def test_two_clients_are_answered_each_for_itself():
    with serve() as server:
        clients = [client_of(server) for _ in range(2)]
        clients[0].write_register(0x103, 3, device_id=1)
        for client in clients:
            assert client.read_holding_registers(0x103, count=1, device_id=1).registers == [3]
            client.close()


@pytest.mark.parametrize(("big", "words"), [(True, [9, 10176]), (False, [10176, 9])])
def test_order_of_words(big, words):
    with serve(big_word_first=big) as server:
        client = client_of(server)
        assert client.read_holding_registers(0x114, count=2, device_id=1).registers == words  # 6000.00 r/min
        client.close()
