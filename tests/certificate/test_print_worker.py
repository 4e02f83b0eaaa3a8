"""The print queue worked at a real printer: busy, absent, out of paper, forgetful, and by a worker that dies."""

import hashlib
import signal
import subprocess
import sys
import time
from datetime import timedelta
from itertools import pairwise

import pytest

from station.certificate import print_worker
from station.certificate.ipp_client import IppPrinter, JobReport, Wishes
from station.certificate.ipp_words import BUSY
from station.certificate.print_worker import BACK_OFF, PrintWorker, is_of, job_name
from station.certificate.printer_address import parse_printer_uri
from station.clock import Clock, stamp, system_clock
from station.record.print_queue import PrintQueue

STATION = "EOL-1"
CLOCK = system_clock()


def later(seconds):
    """Return a clock whose calendar is ahead."""
    return Clock(lambda: CLOCK.utc() + timedelta(seconds=seconds), CLOCK.monotonic, CLOCK.pause)


class Line:
    """A store with certificates, its queue and a worker; what it tells is in `told`."""

    def __init__(self, folder, uri, clock=CLOCK):
        folder.mkdir(exist_ok=True)
        self.folder, self.uri, self.told = folder, uri, []
        self.queue = PrintQueue(folder)
        self.worker = self.worker_with(clock)

    def worker_with(self, clock, uri=None):
        printer = IppPrinter(parse_printer_uri(uri or self.uri), CLOCK, STATION)
        return PrintWorker(self.queue, printer, clock, STATION, Wishes(), self.told.append)

    def certificate(self, number):
        return b"%PDF-1.7\n" + bytes([number]) * 200_000

    def put_in(self, number):
        file = f"{number}.pdf"
        (self.folder / file).write_bytes(self.certificate(number))
        digest = hashlib.sha256(self.certificate(number)).hexdigest()
        return self.queue.add(f"CP40-{number:04d}", 1, file, digest, queued=stamp(CLOCK.utc()), by="K. Amsel")

    def states(self):
        return [str(one.state) for one in self.queue.all()]

    def work_until(self, states, worker=None):
        """Step, without the long pauses, until the printouts are in these states."""
        for _ in range(300):
            (worker or self.worker).step()
            if self.states() == states:
                return
            time.sleep(0.05)
        raise AssertionError(f"{self.states()}, told {self.told}")


@pytest.fixture
def line(printer, tmp_path):
    one = Line(tmp_path / "store", printer.uri)
    yield one
    one.queue.close()


def test_certificates_arrive_byte_for_byte_in_their_order(line, printer):
    printer.start()
    for number in (1, 2, 3):
        line.put_in(number)
    line.work_until(["printed"] * 3)
    assert printer.printed() == [line.certificate(number) for number in (1, 2, 3)]
    assert all(one.ended and one.job_id for one in line.queue.all())
    assert line.worker.step() > 0


def test_a_busy_printer_is_tried_again_and_told_once(line, printer):
    printer.start()
    printer.hold()
    line.put_in(1)
    line.work_until(["sent"])
    line.put_in(2)
    pauses = [line.worker.step() for _ in range(5)]
    assert pauses == [1.0, 2.0, 4.0, 8.0, 8.0]
    assert line.states() == ["sent", "waiting"]
    assert "busy" in line.queue.all()[1].note
    assert line.told == []      # so far as printers are
    for _ in range(4):
        line.worker.step()
    assert len(line.told) == 1
    assert "busy" in line.told[0]
    printer.release()
    line.work_until(["printed", "printed"])
    assert printer.printed() == [line.certificate(1), line.certificate(2)]
    assert line.queue.all()[1].sends >= 9


def test_an_absent_printer_is_waited_for(line, printer):
    line.put_in(1)
    pauses = [line.worker.step() for _ in range(8)]
    assert (pauses[0], pauses[-1]) == BACK_OFF
    assert all(after in (2 * before, BACK_OFF[1]) for before, after in pairwise(pauses))
    assert line.worker.is_stuck
    assert line.states() == ["waiting"]
    assert line.queue.all()[0].sends == 0
    assert len(line.told) == 1
    assert "cannot be reached" in line.told[0]
    printer.start()
    line.work_until(["printed"])
    assert printer.printed() == [line.certificate(1)]


def test_a_printer_without_paper_is_told_in_words_and_then_prints(line, printer):
    printer.start()
    printer.hold(lacks="media-empty-error")
    line.put_in(1)
    for _ in range(100):
        line.worker.step()
        if line.told:
            break
        time.sleep(0.05)
    assert line.told == ["printer says: paper is empty."]
    assert line.states() == ["sent"]
    printer.release()
    line.work_until(["printed"])
    assert len(line.told) == 1


def test_a_printer_that_takes_no_pdf_gets_none(line, printer):
    printer.start(formats="image/urf")
    line.put_in(1)
    line.worker.step()
    assert "does not take PDF" in line.told[0]
    assert "print server" in line.told[0]
    assert (line.states(), line.queue.all()[0].sends) == (["waiting"], 0)
    printer.stop()
    printer.start()
    line.work_until(["printed"])


def test_a_job_that_the_printer_gives_up_is_sent_three_times_and_does_not_block_the_next(line, printer):
    printer.start()
    printer.spoil(True)
    line.put_in(1)
    line.work_until(["refused"])
    ended, = line.queue.all()
    assert ended.sends == 3
    assert "gave it up 3 times (aborted-by-system)" in ended.note
    assert "station print --again CP40-0001 --run 1" in line.told[-1]
    printer.spoil(False)
    line.put_in(2)
    line.work_until(["refused", "printed"])


def test_a_document_that_the_printer_cannot_read_does_not_block_the_next(line, printer, monkeypatch):
    monkeypatch.setattr(print_worker, "BAD_DOCUMENT", {BUSY})   # this printer takes anything, but says no when busy
    printer.start()
    printer.hold()
    line.put_in(1)
    line.work_until(["sent"])
    line.put_in(2)
    line.work_until(["sent", "refused"])
    assert "0x0507" in line.told[-1]


def test_a_job_that_a_person_cancels_is_not_sent_again(line, printer):
    printer.start()
    printer.hold()
    line.put_in(1)
    line.work_until(["sent"])
    assert "[PASS]" in printer.ask_with_ipptool("cancel-current-job.test")
    printer.release()
    line.work_until(["canceled"])
    assert line.queue.all()[0].sends == 1


@pytest.mark.parametrize("spoil", [lambda path: path.write_bytes(path.read_bytes() + b" "), lambda path: path.unlink()])
def test_an_altered_certificate_is_never_printed(line, printer, spoil):
    printer.start()
    line.put_in(1)
    spoil(line.folder / "1.pdf")
    line.put_in(2)
    line.work_until(["refused", "printed"])
    assert printer.printed() == [line.certificate(2)]
    assert "1.pdf" in line.told[0]


# What a station leaves that is killed between two steps: it stops itself there, and is then killed.
DYING = """
import pathlib, sys, os, signal
from station.certificate import print_worker
from station.certificate.ipp_client import IppPrinter, Wishes
from station.certificate.printer_address import parse_printer_uri
from station.certificate import print_worker
from station.clock import system_clock
from station.record.print_queue import PrintQueue

def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)

if sys.argv[3] == "before the document":
    IppPrinter.print_document = die
elif sys.argv[3] == "before the note":
    PrintQueue.note_sent = die
with PrintQueue(pathlib.Path(sys.argv[1])) as queue, queue.work():
    printer = IppPrinter(parse_printer_uri(sys.argv[2]), system_clock(), "EOL-1")
    worker = print_worker.PrintWorker(queue, printer, system_clock(), "EOL-1", Wishes(), print)
    worker.step()
die()
"""


def killed_worker(line, where):
    done = subprocess.run([sys.executable, "-c", DYING, str(line.folder), line.uri, where], timeout=60, check=False)
    assert done.returncode == -signal.SIGKILL


@pytest.mark.parametrize("where", ["before the note", "after the note"])
def test_a_worker_killed_after_sending_does_not_print_twice(line, printer, where):
    printer.start()
    line.put_in(1)
    killed_worker(line, where)
    assert line.states() == ["sending" if where == "before the note" else "sent"]
    line.work_until(["printed"])
    assert printer.printed() == [line.certificate(1)]


@pytest.fixture
def hurried(monkeypatch):
    """Be sure after a second what is otherwise sure after twenty, and remember no longer."""
    monkeypatch.setattr(print_worker, "SETTLED", 1.0)
    monkeypatch.setattr(print_worker, "REMEMBERED", 1.0)


def test_a_document_that_never_left_is_sent_again_by_a_printer_that_can_tell(line, printer, hurried):
    printer.start()
    line.put_in(1)
    line.work_until(["printed"])    # a job older than the one in doubt, which the printer remembers
    time.sleep(1.5)                 # printers count whole seconds
    line.put_in(2)
    killed_worker(line, "before the document")
    line.worker.step()
    assert line.states() == ["printed", "sending"]      # too early to be sure
    assert "sending was cut off" in line.told[-1]
    line.work_until(["printed", "printed"])
    assert printer.printed() == [line.certificate(1), line.certificate(2)]


@pytest.mark.parametrize("restarts", [True, False])
def test_a_printer_that_cannot_tell_leaves_the_outcome_to_a_person(line, printer, hurried, restarts):
    printer.start()
    line.put_in(1)
    time.sleep(1.5)
    killed_worker(line, "before the document")
    if restarts:
        printer.stop()
        time.sleep(1.5)
        printer.start()
    line.put_in(2)
    line.work_until(["outcome unknown", "printed"])
    assert printer.printed() == [line.certificate(2)]
    assert "printer cannot tell" in line.told[-1]


def test_a_printer_that_can_be_asked_soon_is_believed(line, printer, monkeypatch):
    monkeypatch.setattr(print_worker, "SETTLED", 1.0)
    printer.start()
    time.sleep(1.5)
    line.put_in(1)
    killed_worker(line, "before the document")
    line.work_until(["printed"])
    assert printer.printed() == [line.certificate(1)]


def test_a_clock_that_was_set_back_tells_nothing(line, printer, hurried):
    printer.start()
    line.put_in(1)
    killed_worker(line, "before the document")
    line.work_until(["outcome unknown"], line.worker_with(later(-3600)))


def test_a_printer_that_has_forgotten_a_job_or_given_its_number_to_another(line, printer):
    printer.start()
    printer.hold()
    line.put_in(1)
    line.work_until(["sent"])
    printer.stop()
    printer.start()
    line.work_until(["outcome unknown"])
    assert "no longer knows job 1" in line.queue.all()[0].note
    printer.hold()
    line.put_in(2)
    line.work_until(["outcome unknown", "sent"])
    printer.stop()
    printer.start()
    IppPrinter(parse_printer_uri(printer.uri), CLOCK, "EOL-2").print_document("of another station", b"%PDF", Wishes())
    line.work_until(["outcome unknown"] * 2)
    assert "another one now" in line.queue.all()[1].note


def test_another_printer_is_not_asked_for_what_the_first_one_got(line, printer):
    printer.start()
    printer.hold()
    line.put_in(1)
    line.work_until(["sent"])
    line.work_until(["outcome unknown"], line.worker_with(CLOCK, line.uri + "2"))
    assert f"was sent to {line.uri}," in line.queue.all()[0].note


def test_names_of_jobs(line):
    printout = line.put_in(1)
    again = line.put_in(1)
    name = job_name(printout, STATION)
    assert name == f"1 CP40-0001 run 1 EOL-1 {printout.queued}"
    assert job_name(again, STATION).startswith("2 CP40-0001 run 1 reprint 1 EOL-1 ")

    def job(name, job_id=7):
        return JobReport(job_id, name, 9, (), None)

    assert is_of(printout, job(name), STATION)
    assert is_of(printout, job(name[:30]), STATION)     # a printer that keeps only so much
    assert not is_of(again, job(name), STATION)
    assert not is_of(printout, job(name + "0"), STATION)
    assert not is_of(printout, job(""), STATION)
