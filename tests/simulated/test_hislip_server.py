"""station.simulated.hislip_server: the client is pyvisa-py's protocol, which nobody here wrote, or raw messages."""

import socket
import threading
from pathlib import Path

import numpy as np
import pytest
from pyvisa_py.protocols import hislip

import station.simulated
from station.errors import UsageError
from station.simulated.bench import SimulatedBench
from station.simulated.hislip_server import (
    ASYNC_INITIALIZE,
    BAD_INITIALIZATION,
    DATA_END,
    ERROR,
    FATAL_ERROR,
    INITIALIZE,
    NOT_BOTH_CHANNELS,
    POOR_HEADER,
    Message,
)
from station.simulated.lot import load_lot
from station.simulated.rig import Rig

LOT = Path(station.simulated.__file__).with_name("demo_lot.toml")


@pytest.fixture
def served():
    with SimulatedBench(Rig(load_lot(LOT), 5, 20.0), {}, hislip_ports={"supply": 0, "digitizer": 0}) as bench:
        yield bench


@pytest.fixture
def connect(served):
    opened = []

    def open_client(role):
        opened.append(hislip.Instrument("127.0.0.1", port=served.hislip_ports[role], timeout=10.0))
        return opened[-1]
    yield open_client
    for client in opened:
        client.close()


@pytest.fixture
def raw(served):
    with socket.create_connection(("127.0.0.1", served.hislip_ports["supply"]), timeout=10.0) as connection:
        yield connection


def ask(client, line):
    client.send(line.encode())
    return bytes(client.receive(1 << 20)).decode().strip()


def test_both_ports_reach_the_same_instrument(served, connect):
    client = connect("supply")
    client.send(b"VOLT 5\n")
    assert float(ask(client, "VOLT?")) == 5.0
    with socket.create_connection(("127.0.0.1", served.ports["supply"])) as plain:
        plain.sendall(b"VOLT?\n")
        assert float(plain.recv(100)) == 5.0


def test_block_longer_than_a_message_comes_in_several(connect):
    client = connect("digitizer")
    client.max_msg_size = 4096
    client.send(b"SWE:POIN 5000\nFORM:BORD SWAP\nINIT\n")
    assert ask(client, "*OPC?") == "1"
    client.send(b"TRAC? CH1")
    block = bytes(client.receive(20_000))
    assert block[:7] == b"#510000"
    assert np.frombuffer(block[7:-1], "<i2").size == 5000
    assert block[-1:] == b"\n"


def test_clear_and_status_byte(connect):
    client = connect("supply")
    client._send_data_packet(b"VOLT 7")       # a message that is never ended
    client.device_clear()
    assert float(ask(client, "VOLT?")) == 0.0
    client.send(b"NOSUCH")
    assert ask(client, "*OPC?") == "1"
    assert client.async_status_query() & 4      # the error queue holds something
    assert client.async_lock_request(0.1) == "failure"
    assert client.async_lock_info() == 0


def test_overlong_message_is_dropped_whole(connect):
    client = connect("supply")
    client.send(b"VOLT 5;" + b" " * 200_000)
    assert ask(client, "SYST:ERR?") == '-363,"Input buffer overrun"'
    assert float(ask(client, "VOLT?")) == 0.0


def test_silence_covers_both_ports(served, connect):
    client = connect("supply")
    served.silence("supply", 60.0)
    client.timeout = 0.2
    client.send(b"*OPC?")
    with pytest.raises(TimeoutError):
        client.receive(10)


def test_clients_at_once_each_get_their_own_answers(connect):
    clients = [connect("supply") for _ in range(3)]
    wrong = []

    def talk(index):
        wrong.extend(got for _ in range(50) if (got := ask(clients[index], f"*ESE {index};*ESE?")) not in "012")
    threads = [threading.Thread(target=talk, args=(index,)) for index in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


@pytest.mark.parametrize(("sent", "code"), [
    (b"GET / HTTP/1.1\r\n\r\n", POOR_HEADER),
    (Message.HEAD.pack(b"HS", INITIALIZE, 0, 0, 1 << 40), POOR_HEADER),
    (Message.HEAD.pack(b"HS", DATA_END, 0, 0, 0), BAD_INITIALIZATION),
    (Message.HEAD.pack(b"HS", ASYNC_INITIALIZE, 0, 77, 0), BAD_INITIALIZATION),
])
def test_what_is_no_beginning_is_a_fatal_error(sent, code, raw):
    raw.sendall(sent)
    answer = Message.receive(raw)
    assert (answer.kind, answer.control) == (FATAL_ERROR, code)


def test_data_before_the_second_channel_is_a_fatal_error(raw):
    Message(INITIALIZE, payload=b"hislip0").send(raw)
    Message.receive(raw)
    Message(DATA_END, payload=b"VOLT 5").send(raw)
    answer = Message.receive(raw)
    assert (answer.kind, answer.control) == (FATAL_ERROR, NOT_BOTH_CHANNELS)


def test_unknown_message_is_an_error_and_the_next_is_obeyed(connect):
    client = connect("supply")
    Message(99).send(client._sync)
    assert Message.receive(client._sync).kind == ERROR
    assert ask(client, "*OPC?") == "1"


def test_bench_ends_with_no_thread_left():
    before = set(threading.enumerate())
    with SimulatedBench(Rig(load_lot(LOT), 5), {}, hislip_ports={"supply": 0}) as bench:
        client = hislip.Instrument("127.0.0.1", port=bench.hislip_ports["supply"])
        assert ask(client, "*OPC?") == "1"
    client.close()
    assert set(threading.enumerate()) == before


def test_a_role_that_is_none_is_told():
    with pytest.raises(UsageError, match="no such instrument"):
        SimulatedBench(Rig(load_lot(LOT), 5), {}, hislip_ports={"nobody": 0})
