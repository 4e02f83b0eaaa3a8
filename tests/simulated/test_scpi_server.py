"""Sockets: several clients, garbage, overlong messages, silence, clean end; and two clients from outside."""

import asyncio
import socket
import subprocess
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pytest
from scpi import SCPIDevice, SCPIProtocol
from scpi.errors import CommandError
from scpi.transports import TCPTransport

import station.simulated
from station.simulated.bench import SimulatedBench
from station.simulated.lot import load_lot
from station.simulated.rig import Rig

LOT = Path(station.simulated.__file__).with_name("demo_lot.toml")


def test_garbage_is_reported_and_harms_nobody(connect):
    client = connect("supply")
    random = np.random.default_rng(3)
    for _ in range(30):
        client.socket.sendall(random.integers(0, 256, 400, dtype=np.uint8).tobytes())
    client.socket.sendall(b"\n")
    assert int(client.ask("SYST:ERR:COUN?")) > 0
    assert client.ask("*CLS;*IDN?;SYST:ERR?").endswith('EB-SUP-001,1;0,"No error"')
    assert client.ask("OUTP?") == "0"


def test_garbage_is_an_invalid_character(connect):
    client = connect("supply")
    client.socket.sendall(b"\xff\x00VOLT 5\n")
    assert client.ask("SYST:ERR?") == '-101,"Invalid character"'
    assert client.numbers("VOLT?") == [0.0]


def test_overlong_message_is_dropped_whole(connect):
    client = connect("supply")
    client.socket.sendall(b"VOLT 5;" + b" " * 200_000 + b";CURR 1\n")
    assert client.ask("SYST:ERR?") == '-363,"Input buffer overrun"'
    assert client.ask("SYST:ERR?") == '0,"No error"'
    assert client.numbers("VOLT?;CURR?") == [0.0, 0.1]


def test_message_in_pieces_and_messages_in_one_piece(connect):
    client = connect("supply")
    for piece in (b"*OP", b"C", b"?\n*OPC?;*", b"OPC?\n"):
        client.socket.sendall(piece)
    assert [client.lines.readline(), client.lines.readline()] == [b"1\n", b"1;1\n"]


def test_query_left_without_its_end_is_unterminated(connect, until):
    leaving, staying = connect("supply"), connect("supply")
    leaving.socket.sendall(b"*OPC?")
    leaving.close()
    until(lambda: staying.ask("SYST:ERR:COUN?") == "1")
    assert staying.ask("SYST:ERR?") == '-420,"Query UNTERMINATED"'


def test_clients_at_once_each_get_their_own_answers(connect):
    clients = [connect("thermometer") for _ in range(4)]

    def talk(index):
        return {clients[index].ask(f"*ESE {index};*OPC?;*IDN?") for _ in range(100)}

    with ThreadPoolExecutor() as pool:
        assert list(pool.map(talk, range(4))) == [{"1;EMBEDDED BENCH,THERMOMETER,EB-THM-001,1"}] * 4


def test_bench_ends_with_no_thread_left_and_its_ports_free():
    before = set(threading.enumerate())
    with ExitStack() as stack:
        with SimulatedBench(Rig(load_lot(LOT), 5), {}) as bench:
            client = stack.enter_context(socket.create_connection(("127.0.0.1", bench.ports["drive"])))
            client.sendall(b"*OPC?\n")
            assert client.recv(10) == b"1\n"
        assert client.recv(10) == b""
    assert set(threading.enumerate()) == before
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", bench.ports["drive"]))


def test_end_breaks_off_a_waiting_query_without_a_resistance():
    slow = Rig(load_lot(LOT), 5, 1e-3)      # a minute of dwell would last most of a day
    with ExitStack() as stack:
        with SimulatedBench(slow, {}) as bench:
            client = stack.enter_context(socket.create_connection(("127.0.0.1", bench.ports["insulation"])))
            client.sendall(b"TRIG:DEL 60;:OUTP ON;*OPC?\nMEAS:RES?\n")
            assert client.recv(10) == b"1\n"
        assert client.recv(100) in {b"", b"9.91E+37\n"}


def test_client_package_identifies_and_hears_errors(served):
    async def talk():
        device = SCPIDevice(SCPIProtocol(TCPTransport(ipaddr="127.0.0.1", port=served.ports["digitizer"])))
        try:
            identity = await device.identify()
            with pytest.raises(CommandError, match="Undefined header") as caught:
                await device.command("NOSUCH")
            return identity, caught.value.code, await device.ask("SYST:VERS?")
        finally:
            await device.quit()

    identity, code, version = asyncio.run(talk())
    assert ("EB-DIG-001" in str(identity), code, version.strip()) == (True, -113, "1999.0")


def test_command_line_client(served):
    for role, model in (("drive", "DRIVE"), ("guard", "GUARD")):
        said = subprocess.run(["lxi", "scpi", "--raw", "-a", "127.0.0.1", "-p", str(served.ports[role]), "*IDN?"],
                              capture_output=True, text=True, timeout=30, check=True)
        assert said.stdout.startswith(f"EMBEDDED BENCH,{model},EB-")
