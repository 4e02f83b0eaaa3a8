"""The print queue: what a method wrote is there after any end of the process, and what has ended stays."""

import resource
import sqlite3
import subprocess
import sys

import pytest

from station.errors import StationError, UsageError
from station.record.print_queue import DATABASE, PrintQueue, PrintState

AT, LATER = "2026-11-25T10:00:00.000Z", "2026-11-25T10:00:30.000Z"
PRINTER = "ipp://printer.invalid/ipp/print"


def put_in(queue, serial="CP40-0001", run=1, by="K. Amsel"):
    return queue.add(serial, run, f"certificates/{serial}-run{run}.pdf", "5" * 64, queued=AT, by=by)


def test_first_in_first_out_and_reprints_are_counted(tmp_path):
    with PrintQueue(tmp_path) as queue:
        put_in(queue)
        put_in(queue, "VB24-0001")
        put_in(queue, by="auditor")
    with PrintQueue(tmp_path) as queue:
        found = queue.open()
    assert [(one.number, one.serial, one.reprint, one.queued_by) for one in found] == [
        (1, "CP40-0001", 0, "K. Amsel"), (2, "VB24-0001", 0, "K. Amsel"), (3, "CP40-0001", 1, "auditor")]
    assert [one.name for one in found] == ["CP40-0001 run 1", "VB24-0001 run 1", "CP40-0001 run 1 reprint 1"]
    assert {(one.state, one.sends, one.job_id, one.ended) for one in found} == {("waiting", 0, None, None)}


def test_the_printouts_of_one_run(tmp_path):
    with PrintQueue(tmp_path) as queue:
        put_in(queue)
        put_in(queue, run=2)
        queue.note_end(put_in(queue, by="auditor"), PrintState.PRINTED, LATER, "")
        assert [(one.reprint, one.queued_by, one.state) for one in queue.of("CP40-0001", 1)] == [
            (0, "K. Amsel", "waiting"), (1, "auditor", "printed")]
        assert queue.of("CP40-0002", 1) == []


def test_every_step_is_kept(tmp_path):
    with PrintQueue(tmp_path) as queue:
        queue.note_sending(put_in(queue), PRINTER, AT)
        sending, = queue.open()
        assert (sending.state, sending.sends, sending.sent, sending.printer) == ("sending", 1, AT, PRINTER)
        queue.note_waiting(sending, "busy")
        queue.note_sending(sending, PRINTER, LATER)
        queue.note_sent(sending, 147)
        sent, = queue.open()
        assert (sent.state, sent.sends, sent.sent, sent.job_id, sent.note) == ("sent", 2, LATER, 147, "")
        queue.note_end(sent, PrintState.PRINTED, LATER, "")
        assert queue.open() == []
        ended, = queue.all()
        assert (ended.state, ended.ended, ended.job_id) == ("printed", LATER, 147)


def test_what_has_ended_stays_and_nothing_is_forgotten(tmp_path):
    with PrintQueue(tmp_path) as queue:
        printout = put_in(queue)
        queue.note_end(printout, PrintState.UNKNOWN, LATER, "the printer cannot tell")
        with pytest.raises(StationError, match="stays as it is"):
            queue.note_waiting(printout, "again")
        assert queue.all()[0].note == "the printer cannot tell"
    with sqlite3.connect(tmp_path / DATABASE) as forger, pytest.raises(sqlite3.IntegrityError, match="forgotten"):
        forger.execute("DELETE FROM printouts")
    forger.close()


def test_a_disk_without_room_is_told_and_nothing_is_half_written(tmp_path):
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    with PrintQueue(tmp_path) as queue:
        put_in(queue)
        resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, hard))
        try:
            with pytest.raises(StationError, match="do not depend on it"):
                queue.add("A" * 200_000, 1, "file", "5" * 64, queued=AT, by="K")
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert [one.number for one in queue.open()] == [1]
        assert put_in(queue).reprint == 1


def test_a_store_that_is_not_there_is_told(tmp_path):
    with pytest.raises(StationError, match="opening the print queue failed"):
        PrintQueue(tmp_path / "absent")


WORKER = """
import pathlib, sys
from station.record.print_queue import PrintQueue
with PrintQueue(pathlib.Path(sys.argv[1])) as queue, queue.work():
    print("works", flush=True)
    for number in range(10**9):
        printout = queue.add(f"M{number}", 1, "file", "5" * 64, queued="", by="")
        queue.note_sending(printout, "ipp://printer.invalid/", "")
        print(f"sending {printout.number}", flush=True)
"""


def test_one_works_and_what_it_wrote_survives_its_kill(tmp_path):
    with PrintQueue(tmp_path) as queue:
        with subprocess.Popen([sys.executable, "-c", WORKER, str(tmp_path)], stdout=subprocess.PIPE, text=True
                              ) as worker:
            assert worker.stdout.readline() == "works\n"
            with pytest.raises(UsageError, match="another station process"), queue.work():
                pass
            put_in(queue, "CP40-0001")      # adding needs no leave
            heard = [worker.stdout.readline() for _ in range(20)]
            worker.kill()
            heard += worker.stdout.readlines()
        acknowledged = {int(line.split()[1]) for line in heard}
        assert acknowledged <= {one.number for one in queue.open() if one.state == PrintState.SENDING}
        assert "CP40-0001" in {one.serial for one in queue.open() if one.state == PrintState.WAITING}
        with queue.work():
            pass
        with queue.work():      # and is free again
            pass
