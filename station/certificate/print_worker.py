"""Works the print queue: sends one certificate after the other, and follows each job until it has ended.

A certificate is never printed twice where the printer can tell that it has it, and never forgotten where it cannot:
before the first octet leaves, the queue says "sending". Whoever finds that afterwards asks the printer for the job by
its name, which is unlike any other.
"""

import hashlib
from collections.abc import Callable
from datetime import datetime

from station.certificate.ipp_client import PDF, IppPrinter, JobReport, Wishes
from station.certificate.ipp_words import BAD_DOCUMENT, BUSY, NOT_FOUND, JobState, reason_words
from station.clock import Clock, stamp
from station.errors import DeclinedError, PrinterError, UnreachableError
from station.record.print_queue import Printout, PrintQueue, PrintState

IDLE_PAUSE = 1.0        # s between two looks into an empty queue
FOLLOW_PAUSE = 1.0      # s between two questions about a job
BACK_OFF = (1.0, 60.0)  # s after the first and at most after any failure; doubled in between
BUSY_PAUSE = 8.0        # s at most while the printer answers, but is busy
BUSY_LONG = 6           # times that it says so before people are told
MOST_SENDS = 3          # of a document whose job the printer gives up by itself
SETTLED = 20.0          # s after which a request that was cut off makes no job any more: beyond the deadline of one
REMEMBERED = 60.0       # s for which printers remember jobs that have ended; common practice, no source

Tell = Callable[[str], None]


class PrintWorker:
    """Takes one step at a time; `step` never raises PrinterError, but tells it and says how long to pause.

    `tell` gets a sentence whenever something has changed that a person should know. Holds no thread: see
    `print_thread`. The queue must be held by `PrintQueue.work`.
    """

    def __init__(self, queue: PrintQueue, printer: IppPrinter, clock: Clock, station: str, wishes: Wishes, tell: Tell
                 ) -> None:
        self._queue, self._printer, self._clock = queue, printer, clock
        self._station, self._wishes, self._tell = station, wishes, tell
        self._failures = 0
        self._told: dict[str, str] = {}

    @property
    def is_stuck(self) -> bool:
        """Return whether the last step failed, so that waiting for the next is of little use."""
        return self._failures > 0

    def step(self) -> float:
        """Do what can be done now; return how many seconds to pause before the next step."""
        printouts = self._queue.open()
        if not printouts:
            return IDLE_PAUSE
        try:
            self._advance(printouts)
        except PrinterError as error:
            return self._back_off(error)
        self._failures = 0
        self._tell_changed("trouble", "")
        return FOLLOW_PAUSE if self._queue.open() else 0.0

    def _back_off(self, error: PrinterError) -> float:
        """Tell what is wrong, except that a printer is busy, as printers are; return how long to pause."""
        self._failures += 1
        is_busy = isinstance(error, DeclinedError) and error.status == BUSY
        if not is_busy or self._failures >= BUSY_LONG:
            self._tell_changed("trouble", f"{error.what}: {error.got}. {error.remedy}")
        least, most = BACK_OFF
        return min(least * 2.0 ** (self._failures - 1), BUSY_PAUSE if is_busy else most)

    def _advance(self, printouts: list[Printout]) -> None:
        for printout in printouts:
            if printout.state == PrintState.SENDING:
                self._settle(printout)
            elif printout.state == PrintState.SENT:
                self._follow(printout)
        waiting = next((one for one in self._queue.open() if one.state == PrintState.WAITING), None)
        if waiting is not None:
            self._send(waiting)

    def _send(self, printout: Printout) -> None:
        content = self._content(printout)
        if content is None:
            return
        self._require_fit_printer()
        self._queue.note_sending(printout, self._printer.address.uri, stamp(self._clock.utc()))
        try:
            job = self._printer.print_document(job_name(printout, self._station), content, self._wishes)
        except UnreachableError as error:
            self._queue.note_waiting(printout, f"{error.what}: {error.got}")
            raise
        except DeclinedError as error:
            if error.status in BAD_DOCUMENT:
                self._end(printout, PrintState.REFUSED, str(error.got))
                return
            self._queue.note_waiting(printout, str(error.got))
            raise
        self._queue.note_sent(printout, job.job_id)

    def _content(self, printout: Printout) -> bytes | None:
        """Return the certificate, or end its printout because it is not what was queued."""
        path = self._queue.folder / printout.file
        try:
            content = path.read_bytes()
        except OSError as error:
            self._end(printout, PrintState.REFUSED, f"{path} cannot be read: {error.strerror}")
            return None
        if hashlib.sha256(content).hexdigest() != printout.sha256:
            self._end(printout, PrintState.REFUSED, f"{path} was altered since it was queued")
            return None
        return content

    def _require_fit_printer(self) -> None:
        report = self._printer.report()
        lacks = reason_words(report.reasons)
        if report.formats and PDF not in report.formats:
            raise PrinterError("printer does not take PDF", where=self._printer.address.uri, expected=PDF,
                               got=", ".join(report.formats), remedy="Put a print server before it that converts, and "
                               "give its address in the station file.")
        if not report.is_accepting:
            raise PrinterError("printer takes no jobs", where=self._printer.address.uri, expected="one that does",
                               got=lacks or "it gives no reason", remedy="Look at the printer.")
        self._tell_lacks(lacks)

    def _follow(self, printout: Printout) -> None:
        if self._belongs_elsewhere(printout):
            return
        assert printout.job_id is not None  # noqa: S101 - the state SENT is written together with it
        try:
            job = self._printer.job(printout.job_id)
        except DeclinedError as error:
            if error.status != NOT_FOUND:
                raise
            self._end(printout, PrintState.UNKNOWN, f"the printer no longer knows job {printout.job_id}")
            return
        if not is_of(printout, job, self._station):
            self._end(printout, PrintState.UNKNOWN, f"job {job.job_id} of the printer is another one now")
            return
        self._take_state(printout, job)

    def _take_state(self, printout: Printout, job: JobReport) -> None:
        reasons = ", ".join(job.reasons)
        if job.state == JobState.COMPLETED:
            self._end(printout, PrintState.PRINTED, "")
        elif job.state == JobState.CANCELED:
            self._end(printout, PrintState.CANCELED, f"canceled at the printer ({reasons})")
        elif job.state == JobState.ABORTED and printout.sends >= MOST_SENDS:
            self._end(printout, PrintState.REFUSED, f"the printer gave it up {printout.sends} times ({reasons})")
        elif job.state == JobState.ABORTED:
            self._queue.note_waiting(printout, f"the printer gave it up ({reasons})")
            raise PrinterError("printer gave up a job", where=f"job {job.job_id}", expected="completed", got=reasons,
                               remedy="It is sent again.")
        else:
            self._tell_lacks(reason_words(self._printer.report().reasons))

    def _settle(self, printout: Printout) -> None:
        """Find out what became of a document whose sending was cut off."""
        if self._belongs_elsewhere(printout):
            return
        age = self._age(printout)
        up_time = self._printer.report().up_time
        finished = self._printer.jobs(finished=True)
        for job in [*self._printer.jobs(finished=False), *finished]:
            if is_of(printout, job, self._station):
                self._queue.note_sent(printout, job.job_id)
                return
        if 0 <= age < SETTLED:
            raise PrinterError("sending was cut off", where=printout.name, expected="an answer from the printer",
                               got="none yet", remedy="The printer is asked again whether it has the document.")
        if _can_tell(age, up_time, finished):
            self._queue.note_waiting(printout, "its sending was cut off; the printer does not have it")
        else:
            self._end(printout, PrintState.UNKNOWN, "its sending was cut off, and the printer cannot tell")

    def _belongs_elsewhere(self, printout: Printout) -> bool:
        if printout.printer == self._printer.address.uri:
            return False
        self._end(printout, PrintState.UNKNOWN, f"it was sent to {printout.printer}, which is no longer asked")
        return True

    def _age(self, printout: Printout) -> float:
        """Return the seconds since the sending began; negative when the clock was set back."""
        sent = datetime.fromisoformat(printout.sent or printout.queued)
        return (self._clock.utc() - sent).total_seconds()

    def _end(self, printout: Printout, state: PrintState, note: str) -> None:
        self._queue.note_end(printout, state, stamp(self._clock.utc()), note)
        if state is not PrintState.PRINTED:
            self._tell(f"{printout.name}: {state}, {note}. `station print --again {printout.serial} "
                       f"--run {printout.run}` prints it again.")

    def _tell_lacks(self, lacks: str) -> None:
        self._tell_changed("lacks", f"printer says: {lacks}." if lacks else "")

    def _tell_changed(self, topic: str, text: str) -> None:
        if text and text != self._told.get(topic):
            self._tell(text)
        self._told[topic] = text


def job_name(printout: Printout, station: str) -> str:
    """Return the name of the job at the printer: unlike any other, and with the serial for people."""
    return f"{printout.number} {printout.name} {station} {printout.queued}"


def is_of(printout: Printout, job: JobReport, station: str) -> bool:
    """Return whether `job` is that of `printout`; some printers keep only the beginning of a name, or none."""
    if not job.name:
        return job.job_id == printout.job_id
    return job_name(printout, station).startswith(job.name)


def _can_tell(age: float, up_time: int, finished: list[JobReport]) -> bool:
    """Return whether a printer that does not show a job sent `age` s ago can be believed not to have it.

    It must have been on since, and either still remember a job older than that, or be asked soon enough.
    """
    if age < 0 or up_time <= age:
        return False
    return age < REMEMBERED or any(job.created is not None and up_time - job.created >= age for job in finished)
