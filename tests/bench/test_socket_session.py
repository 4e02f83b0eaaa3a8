"""The station's raw-socket session, through pyvisa's own interface, against peers with the faults of real ones."""

import inspect
import socket
import threading
import time
from contextlib import contextmanager

import numpy as np
import pytest
import pyvisa
from pyvisa.constants import InterfaceType, StatusCode
from pyvisa_py import tcpip
from pyvisa_py.sessions import Session

from station.bench.socket_session import DeadlineSocketSession
from station.bench.visa import _resource_manager

TIMEOUT = 0.2       # s


@contextmanager
def talking_to(behave):
    """Yield a pyvisa resource whose peer runs `behave(connection)`, and its session."""
    ended = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as server:
        def serve():
            connection, _ = server.accept()
            with connection:
                try:
                    behave(connection)
                except OSError:
                    return
                ended.wait(30)
        thread = threading.Thread(target=serve)
        thread.start()
        resource = _resource_manager().open_resource(f"TCPIP::127.0.0.1::{server.getsockname()[1]}::SOCKET")
        resource.timeout = 1000 * TIMEOUT
        resource.read_termination = resource.write_termination = "\n"
        try:
            yield resource, resource.visalib.sessions[resource.session]
        finally:
            ended.set()
            resource.close()
            thread.join()


def echo(connection):
    while received := connection.recv(4096):
        connection.sendall(received)


def error_of(call):
    with pytest.raises(pyvisa.VisaIOError) as raised:
        call()
    return raised.value.error_code


def test_pyvisa_py_is_as_the_session_needs_it():
    """Fails loudly when another version of pyvisa-py has changed what the session builds upon."""
    assert issubclass(DeadlineSocketSession, tcpip.TCPIPSocketSession)
    assert Session._session_classes[InterfaceType.tcpip, "SOCKET"] is DeadlineSocketSession
    own = {name for name, member in vars(DeadlineSocketSession).items() if inspect.isfunction(member)}
    replaced = own & set(vars(tcpip.TCPIPSocketSession))
    assert replaced == {"_connect", "read", "write", "clear"}
    for name in replaced:
        theirs, ours = (list(inspect.signature(getattr(kind, name)).parameters)
                        for kind in (tcpip.TCPIPSocketSession, DeadlineSocketSession))
        assert ours == theirs
    opening = inspect.getsource(tcpip.TCPIPSocketSession.after_parsing)
    assert "self._connect()" in opening
    assert "self._pending_buffer = bytearray()" in opening
    prepared = inspect.getsource(Session.__init__)
    for name in ("parsed", "open_timeout", "interface", "timeout"):
        assert f"self.{name} = " in prepared


def test_lines_come_back_one_by_one():
    with talking_to(echo) as (resource, _):
        resource.write("one\ntwo")
        assert (resource.read(), resource.read()) == ("one", "two")
        assert resource.query("three") == "three"


def test_block_with_line_feeds_is_read_through_pyvisa():
    codes = np.arange(-20_000, 20_000, dtype=np.int16)
    body = codes.tobytes()
    with talking_to(lambda c: c.sendall(b"#5" + str(len(body)).encode() + body + b"\n")) as (resource, _):
        got = resource.query_binary_values("TRAC?", "h", container=np.array)
        assert np.array_equal(got, codes)


def test_refused_connection_is_told_at_once():
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(ConnectionRefusedError):
        _resource_manager().open_resource(f"TCPIP::127.0.0.1::{port}::SOCKET")


def test_closed_peer_is_told_as_lost_and_costs_no_time():
    with talking_to(lambda c: c.shutdown(socket.SHUT_RDWR)) as (resource, session):
        resource.timeout = 60_000
        busy = time.process_time()
        assert error_of(resource.read) == StatusCode.error_connection_lost
        assert time.process_time() - busy < 10     # it neither waits a minute nor spins for one
        with pytest.raises(ConnectionError):
            session.stale()
        assert session.clear() == StatusCode.error_connection_lost


def test_trickling_peer_misses_the_deadline():
    def trickle(connection):
        while True:
            connection.sendall(b"1")
            time.sleep(0.01)
    with talking_to(trickle) as (resource, session):
        assert error_of(resource.read) == StatusCode.error_timeout
        session.timeout = TIMEOUT
        with pytest.raises(TimeoutError):
            session.read_into(memoryview(bytearray(100_000)))


def test_peer_that_does_not_read_misses_the_deadline():
    with talking_to(lambda c: None) as (resource, _):
        assert error_of(lambda: resource.write_raw(bytes(50_000_000))) == StatusCode.error_timeout


def test_clear_ends_although_the_peer_does_not():
    def babble(connection):
        while True:
            connection.sendall(b"1" * 1000)
    with talking_to(babble) as (_, session):
        assert session.clear() == StatusCode.error_timeout


def test_clear_throws_away_what_has_come():
    with talking_to(lambda c: (c.sendall(b"old\n"), echo(c))) as (resource, session):
        while not session.stale():
            time.sleep(0.001)
        resource.clear()
        assert not session.stale()
        assert resource.query("new") == "new"


def test_read_into_takes_what_was_read_ahead_first():
    with talking_to(lambda c: c.sendall(b"head\n" + bytes(range(200)) + b"tail\n")) as (resource, session):
        assert resource.read() == "head"
        memory = bytearray(200)
        session.read_into(memoryview(memory))
        assert memory == bytes(range(200))
        assert resource.read() == "tail"


def test_half_a_block_is_no_block():
    def half(connection):
        connection.sendall(bytes(50))
        connection.shutdown(socket.SHUT_RDWR)
    with talking_to(half) as (_, session), pytest.raises(ConnectionError, match="50 of 100"):
        session.read_into(memoryview(bytearray(100)))


def test_another_thread_can_end_a_wait():
    with talking_to(lambda c: None) as (resource, session):
        resource.timeout = 60_000
        threading.Timer(0.1, session.shut).start()
        assert error_of(resource.read) == StatusCode.error_connection_lost
