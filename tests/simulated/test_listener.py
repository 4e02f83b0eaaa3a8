"""station.simulated.listener: many clients, clients that leave, and nothing left behind."""

import random
import socket
import threading
import time

import pytest

from station.simulated.listener import Listener


def echo(connection):
    while received := connection.recv(4096):
        connection.sendall(received)


def test_each_client_is_served_and_nothing_is_left():
    before = set(threading.enumerate())
    with Listener(0, "echo", echo) as listener:
        clients = [socket.create_connection(("127.0.0.1", listener.port)) for _ in range(5)]
        for number, client in enumerate(clients):
            client.sendall(str(number).encode())
        assert [client.recv(10) for client in clients] == [b"0", b"1", b"2", b"3", b"4"]
        clients[0].close()
        clients[1].sendall(b"still here")
        assert clients[1].recv(20) == b"still here"
    assert all(client.recv(10) == b"" for client in clients[1:])
    for client in clients:
        client.close()
    assert set(threading.enumerate()) == before
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", listener.port))


def test_client_that_breaks_off_ends_only_its_own_connection():
    failed = threading.Event()

    def fail_once(connection):
        if not failed.is_set():
            failed.set()
            raise ConnectionResetError
        echo(connection)
    with Listener(0, "echo", fail_once) as listener:
        with socket.create_connection(("127.0.0.1", listener.port)) as first:
            assert first.recv(10) == b""
        with socket.create_connection(("127.0.0.1", listener.port)) as second:
            second.sendall(b"well")
            assert second.recv(10) == b"well"


def test_ticks_go_on_without_clients():
    ticked, ticks = threading.Event(), []

    def tick():
        ticks.append(1)
        if len(ticks) == 3:
            ticked.set()
    with Listener(0, "ticks", echo, tick):
        assert ticked.wait(30)


def test_taken_port_is_told():
    with Listener(0, "first", echo) as listener, pytest.raises(OSError, match="in use"):
        Listener(listener.port, "second", echo)


def can_be_taken(port):
    with socket.socket() as thief:
        thief.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            thief.bind(("127.0.0.1", port))
        except OSError:
            return False
        return True


def test_refused_means_that_nobody_listens_and_the_port_is_kept():
    lasts = threading.Event()
    with Listener(0, "echo", echo) as listener:
        for _ in range(3):
            lasts.clear()
            listener.refuse(lambda: not lasts.is_set())
            for _ in range(2):
                with pytest.raises(ConnectionRefusedError):
                    socket.create_connection(("127.0.0.1", listener.port))
            while can_be_taken(listener.port):      # the listening thread closes it in a moment
                pass
            lasts.set()
            listener.await_listening()
            with socket.create_connection(("127.0.0.1", listener.port)) as client:
                client.sendall(b"back")
                assert client.recv(10) == b"back"


def test_refusing_goes_on_ticking_and_ends_with_serving():
    before, ticked, ticks = set(threading.enumerate()), threading.Event(), []

    def tick():
        ticks.append(1)
        if len(ticks) == 5:
            ticked.set()
    with Listener(0, "ticks", echo, tick) as listener:
        listener.refuse(lambda: True)
        assert ticked.wait(30)
    assert set(threading.enumerate()) == before


def test_refused_again_while_nobody_may_connect_it_serves_when_the_last_refusal_is_over():
    """On Linux a socket that is shut down before it listens gives out connections that are at their end already."""
    lasts, longer = threading.Event(), threading.Event()
    with Listener(0, "echo", echo) as listener:
        listener.refuse(lambda: not lasts.is_set())
        while can_be_taken(listener.port):
            pass
        listener.refuse(lambda: not longer.is_set())
        lasts.set()
        time.sleep(0.2)         # four looks at a refusal that is over; the other still lasts
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", listener.port))
        longer.set()
        listener.await_listening()
        with socket.create_connection(("127.0.0.1", listener.port), 30) as client:
            client.sendall(b"back")
            assert client.recv(10) == b"back"


def test_refused_at_every_moment_it_never_stays_closed():
    drawn = random.Random(1)
    with Listener(0, "echo", echo) as listener:
        for _ in range(40):
            end = time.monotonic() + drawn.choice((0.0, 0.001, 0.06))
            for _ in range(drawn.randrange(1, 4)):
                listener.refuse(lambda end=end: time.monotonic() < end)
                time.sleep(drawn.choice((0.0, 0.0, 0.0001, 0.055)))
            listener.await_listening()
            with socket.create_connection(("127.0.0.1", listener.port), 30) as client:
                client.sendall(b"back")
                assert client.recv(10) == b"back"
