"""The stop of the drive overtakes whatever is pending: a hung query of its own, a block that does not end."""

import socket
import threading
import time
from datetime import date

import pytest

import station.bench.dialect as dialect_module
from station.bench.bench import open_bench
from station.bench.bench_file import parse_bench
from station.bench.identity import Identity
from station.bench.roles import ROLES
from station.bench.starter import embedded_bench_toml
from station.errors import BenchError, BenchNotFitError
from station.toml_file import parse_toml

SPEED = 300.0   # rad/s


@pytest.fixture
def turning(open_embedded, wait_until):
    """A drive that turns and still ramps."""
    with open_embedded() as (bench, rig, _, clock):
        rig.place("CP40-0001")
        bench.guard.arm()
        rig.press_start()
        bench.drive.enable()
        bench.drive.spin(SPEED, 1.0)
        wait_until(lambda: bench.drive.speed() > 1.0, clock)
        yield bench, rig


def pending(work):
    """Run `work` in a thread and keep what it raises; return the thread and that list."""
    raised = []

    def run():
        try:
            work()
        except BenchError as error:
            raised.append(error)
    thread = threading.Thread(target=run)
    thread.start()
    return thread, raised


def at_rest(rig):
    return not rig.shaft.enabled and abs(rig.shaft.speed_rpm(rig.now())) < 1.0


@pytest.mark.parametrize("own", [True, False], ids=["own connection", "one client only"])
def test_safe_state_stops_the_drive_while_a_question_never_gets_its_answer(own, open_embedded, wait_until, tmp_path):
    """The proxy loses one answer; only the connection that asked is stuck."""
    with open_embedded() as (_, rig, served, clock), LossyProxy(served.ports["drive"]) as proxy:
        rig.place("CP40-0001")
        with open_bench(bench_through(proxy, served.ports, tmp_path, clients=8 if own else 1), clock) as bench:
            bench.require_fit(clock, SPEED)
            bench.guard.arm()
            rig.press_start()
            bench.drive.enable()
            bench.drive.spin(SPEED, 1e4)
            wait_until(lambda: bench.drive.speed() > 0.9 * SPEED, clock)
            proxy.loses = b"MEAS:TORQ?"
            thread, raised = pending(lambda: bench.drive.session.ask("MEAS:TORQ?", 30.0))
            assert proxy.has_lost.wait(10)
            assert bench.safe_state(["drive"]) == []
            assert at_rest(rig)
            assert thread.is_alive() == own     # with one client it was broken off, else it still waits
            proxy.close_all()
            thread.join()
            assert len(raised) == 1
            assert proxy.most_at_once == (2 if own else 1)


def test_stop_does_not_wait_for_a_block_of_the_digitizer(turning):
    """A digitizer that sends half a block and then nothing holds up its own thread alone."""
    bench, rig = turning
    with HalfBlock() as peer:
        digitizer = bench.digitizer.session
        right = digitizer.resource, digitizer.expected
        digitizer.resource, digitizer.expected = peer.resource, peer.identity
        digitizer.give_up()
        thread, raised = pending(lambda: digitizer.ask_codes("TRAC?", 1_000_000))
        assert peer.has_begun.wait(10)
        assert bench.safe_state(["drive"]) == []
        assert at_rest(rig)
        assert thread.is_alive()
        digitizer.give_up()
        thread.join()
        assert len(raised) == 1
        digitizer.resource, digitizer.expected = right


def test_bench_is_unfit_when_the_drive_serves_fewer_connections_than_its_dialect_says(
        open_embedded, wait_until, tmp_path):
    with open_embedded() as (_, rig, served, clock), LossyProxy(served.ports["drive"], most=1) as proxy:
        rig.place("CP40-0001")
        with open_bench(bench_through(proxy, served.ports, tmp_path, clients=1), clock) as bench:
            bench.require_fit(clock, SPEED)
        wait_until(lambda: proxy.served == 0, clock)
        wrong = bench_through(proxy, served.ports, tmp_path, clients=8)
        with open_bench(wrong, clock) as bench, pytest.raises(BenchNotFitError, match="clients = 1"):
            bench.require_fit(clock, SPEED)


def test_stop_reaches_a_drive_that_is_slow_to_miss_its_one_client(open_embedded, wait_until, tmp_path):
    """The connection that was broken off keeps its place for a moment, and whoever comes meanwhile is turned away."""
    with open_embedded() as (_, rig, served, clock), LossyProxy(served.ports["drive"], most=1) as proxy:
        rig.place("CP40-0001")
        with open_bench(bench_through(proxy, served.ports, tmp_path, clients=1), clock) as bench:
            bench.require_fit(clock, SPEED)
            bench.guard.arm()
            rig.press_start()
            bench.drive.enable()
            bench.drive.spin(SPEED, 1e4)
            wait_until(lambda: bench.drive.speed() > 0.9 * SPEED, clock)
            proxy.lingers = 0.1
            assert bench.safe_state(["drive"]) == []
            assert at_rest(rig)


def bench_through(proxy, ports, folder, clients):
    """Return the bench file whose drive is behind `proxy` and serves so many clients."""
    text = embedded_bench_toml({**{role: ports[role] for role in ROLES}, "drive": proxy.port},
                               date(2026, 9, 1), date(2099, 1, 1))
    shipped = dialect_module.SHIPPED / "embedded_drive.toml"
    (folder / "drive.toml").write_text(shipped.read_text().replace("clients = 8", f"clients = {clients}"))
    text = text.replace('dialect = "embedded_drive"', 'dialect = "drive.toml"')
    return parse_bench(parse_toml(text.encode(), "bench.toml"), folder)


class LossyProxy:
    """Passes lines on to an instrument and its answers back, to `most` clients; loses the one question `loses`."""

    def __init__(self, port, most=8):
        self._behind, self._most, self.loses, self.has_lost = port, most, None, threading.Event()
        self.lingers = 0.0      # s for which a client that has gone keeps its place
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self._open, self.most_at_once, self._lock = set(), 0, threading.Lock()

    def __enter__(self):
        threading.Thread(target=self._accept, daemon=True).start()
        return self

    def __exit__(self, *_):
        self._server.close()
        self.close_all()

    @property
    def served(self):
        return len(self._open)

    def close_all(self):
        for connection in list(self._open):
            try:
                connection.shutdown(socket.SHUT_RDWR)
            except OSError:
                continue    # it has gone by itself

    def _accept(self):
        while True:
            try:
                client, _ = self._server.accept()
            except OSError:
                return
            threading.Thread(target=self._pass_on, args=(client,), daemon=True).start()

    def _pass_on(self, client):
        with client, socket.create_connection(("127.0.0.1", self._behind)) as behind:
            with self._lock:
                if len(self._open) == self._most:
                    return
                self._open.add(client)
                self.most_at_once = max(self.most_at_once, len(self._open))
            threading.Thread(target=self._pass_back, args=(behind, client), daemon=True).start()
            try:
                for line in client.makefile("rb"):
                    if line.strip() == self.loses:
                        self.has_lost.set()
                    else:
                        behind.sendall(line)
            except OSError:
                pass
            time.sleep(self.lingers)
            with self._lock:
                self._open.discard(client)
            behind.shutdown(socket.SHUT_RDWR)

    @staticmethod
    def _pass_back(behind, client):
        try:
            while received := behind.recv(65536):
                client.sendall(received)
        except OSError:
            return


class HalfBlock:
    """An instrument whose block stops half way."""

    def __init__(self):
        self.identity = Identity("PLANT", "TOY", "T-1", "1")
        self.has_begun = threading.Event()
        self._server = socket.create_server(("127.0.0.1", 0))
        self.resource = f"TCPIP::127.0.0.1::{self._server.getsockname()[1]}::SOCKET"

    def __enter__(self):
        threading.Thread(target=self._serve, daemon=True).start()
        return self

    def __exit__(self, *_):
        self._server.close()

    def _serve(self):
        connection, _ = self._server.accept()
        with connection, connection.makefile("rb") as lines:
            for line in lines:
                answer = {b"*IDN?": b"PLANT,TOY,T-1,1\n", b"*ESR?": b"0\n",
                          b"SYST:ERR?": b'0,"No error"\n'}.get(line.strip())
                if answer is None:
                    connection.sendall(b"#72000000" + bytes(1_000_000))
                    self.has_begun.set()
                else:
                    connection.sendall(answer)
