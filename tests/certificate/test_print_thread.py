"""The thread that prints beside the tests: it tells and never raises, and it is left within a bounded time."""

import hashlib
import socket
import time
from contextlib import ExitStack

import pytest

from station.certificate import print_thread
from station.certificate.ipp_client import IppPrinter, Wishes
from station.certificate.print_thread import PrintThread
from station.certificate.print_worker import PrintWorker
from station.certificate.printer_address import parse_printer_uri
from station.clock import system_clock
from station.record.print_queue import DATABASE, PrintQueue

CLOCK = system_clock()
DOCUMENT = b"%PDF-1.7\n" + b"1" * 100_000


@pytest.fixture
def thread(tmp_path, printer):
    """Make a thread that prints at a printer; what it tells is in its `told`."""
    def make(uri=printer.uri, deadline=15.0, fails=False):
        told = []

        def worker(queue):
            if fails:
                raise RuntimeError("the worker is broken")
            reached = IppPrinter(parse_printer_uri(uri), CLOCK, "EOL-1", deadline=deadline)
            return PrintWorker(queue, reached, CLOCK, "EOL-1", Wishes(), told.append)

        made = PrintThread(tmp_path, worker, CLOCK, told.append)
        made.told = told
        return made

    return make


def put_in(folder, serial="CP40-0001"):
    (folder / "one.pdf").write_bytes(DOCUMENT)
    with PrintQueue(folder) as queue:
        queue.add(serial, 1, "one.pdf", hashlib.sha256(DOCUMENT).hexdigest(), queued="2026-11-25T10:00:00.000Z", by="K")


def states(folder):
    with PrintQueue(folder) as queue:
        return [one.state for one in queue.all()]


def wait_for(what):
    for _ in range(400):
        if what():
            return
        time.sleep(0.05)
    raise AssertionError("it never came to that")


def test_it_prints_what_comes_and_lets_the_last_one_leave(thread, tmp_path, printer):
    printer.start()
    with thread() as running:
        put_in(tmp_path)
        wait_for(lambda: states(tmp_path) == ["printed"])
        put_in(tmp_path, "CP40-0002")   # and the end comes at once
    assert states(tmp_path)[1] in ("sent", "printed")
    wait_for(lambda: len(printer.printed()) == 2)
    assert not running._thread.is_alive()


def test_nothing_is_made_where_nothing_is_queued(thread, tmp_path):
    with thread() as running:
        pass
    assert not (tmp_path / DATABASE).exists()
    assert running.told == []


def test_what_cannot_leave_is_told_at_the_end(thread, tmp_path):
    with thread() as running:
        put_in(tmp_path)
        wait_for(lambda: running.told)
    assert "cannot be reached" in running.told[0]
    assert running.told[-1] == "1 certificate(s) wait in the print queue; `station print` prints them."
    assert not running._thread.is_alive()


def test_whatever_breaks_is_told_and_not_raised(thread, tmp_path):
    put_in(tmp_path)
    with thread(fails=True) as running:
        wait_for(lambda: running.told)
    assert "RuntimeError: the worker is broken" in running.told[0]
    assert states(tmp_path) == ["waiting"]


def test_it_waits_while_another_process_works_the_queue(thread, tmp_path, printer, monkeypatch):
    monkeypatch.setattr(print_thread, "LOOK_AGAIN", 0.1)
    printer.start()
    put_in(tmp_path)
    with PrintQueue(tmp_path) as other, ExitStack() as holding:
        holding.enter_context(other.work())
        with thread() as running:
            time.sleep(0.5)
            assert states(tmp_path) == ["waiting"]
            holding.close()
            wait_for(lambda: states(tmp_path) == ["printed"])
    assert running.told == []


def test_a_printer_that_falls_silent_does_not_keep_the_station(thread, tmp_path, monkeypatch):
    monkeypatch.setattr(print_thread, "LINGER", 0.2)
    monkeypatch.setattr(print_thread, "LAST_EXCHANGE", 0.3)
    put_in(tmp_path)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        with thread(f"ipp://127.0.0.1:{silent.getsockname()[1]}/", deadline=20.0) as running:
            link, _ = silent.accept()
        assert running._thread.is_alive()       # it was not waited for
        assert "1 certificate(s) wait" in running.told[-1]
        link.close()
    running._thread.join(30)
    assert not running._thread.is_alive()
