"""A printer over IPP: what it is, a document to print, what became of it; one deadline for each exchange."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from station.certificate.ipp_message import Attribute, Group, GroupTag, Message, attribute, decode, encode
from station.certificate.ipp_transport import post
from station.certificate.ipp_values import Tag
from station.certificate.ipp_words import status_words
from station.certificate.printer_address import PrinterAddress
from station.clock import Clock
from station.errors import DeclinedError, PrinterError

PDF = "application/pdf"
DEADLINE = 15.0         # s for one exchange, document and answer

# Source: RFC 8011, section 5.4.15
PRINT_JOB, GET_JOB_ATTRIBUTES, GET_JOBS, GET_PRINTER_ATTRIBUTES = 0x0002, 0x0009, 0x000A, 0x000B
MOST_JOBS = 500
FIRST_ERROR = 0x0100    # statuses below are successes. Source: RFC 8011, appendix B.1

_OF_PRINTER = ("printer-name", "printer-make-and-model", "printer-state", "printer-state-reasons",
               "printer-is-accepting-jobs", "printer-up-time", "document-format-supported", "media-supported",
               "sides-supported")
_OF_JOB = ("job-id", "job-name", "job-state", "job-state-reasons", "time-at-creation")


@dataclass(frozen=True, slots=True)
class PrinterReport:
    """What a printer says of itself; `up_time` in its own seconds, 0 when it does not say."""

    name: str
    model: str
    state: int
    reasons: tuple[str, ...]
    is_accepting: bool
    up_time: int
    formats: tuple[str, ...]
    media: tuple[str, ...]
    sides: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JobReport:
    """What a printer says of a job; `created` in the printer's own seconds, None when it does not say."""

    job_id: int
    name: str
    state: int
    reasons: tuple[str, ...]
    created: int | None


@dataclass(frozen=True, slots=True)
class Wishes:
    """How to print; what is empty is left to the printer."""

    media: str = ""         # such as iso_a4_210x297mm
    sides: str = ""         # one-sided, two-sided-long-edge, two-sided-short-edge
    copies: int = 1


class IppPrinter:
    """A printer at an address; every call is one exchange on a connection of its own.

    Raises UnreachableError while nothing has been sent, DeclinedError when the printer says no, and PrinterError
    when the deadline passes or the answer is none: then the outcome is unknown. `user` is the name under which
    jobs stand at the printer.
    """

    def __init__(self, address: PrinterAddress, clock: Clock, user: str, *, trust: Path | None = None,
                 deadline: float = DEADLINE) -> None:
        self.address = address
        self._clock, self._user, self._trust, self._deadline = clock, user, trust, deadline
        self._requests = 0

    def report(self) -> PrinterReport:
        """Ask the printer what it is and how it is."""
        answer = self._ask(GET_PRINTER_ATTRIBUTES, attribute("requested-attributes", Tag.KEYWORD, *_OF_PRINTER))
        told = answer.group(GroupTag.PRINTER)
        return PrinterReport(
            _text(told, "printer-name"), _text(told, "printer-make-and-model"), _number(told, "printer-state"),
            _texts(told, "printer-state-reasons"), told.first("printer-is-accepting-jobs") is not False,
            _number(told, "printer-up-time"), _texts(told, "document-format-supported"),
            _texts(told, "media-supported"), _texts(told, "sides-supported"))

    def print_document(self, job_name: str, content: bytes, wishes: Wishes) -> JobReport:
        """Send a PDF to be printed and return the job that the printer made of it.

        `job_name` is what people read at the printer; what is beyond 255 octets of UTF-8 is cut off.
        """
        answer = self._ask(PRINT_JOB, attribute("job-name", Tag.NAME, as_name(job_name)),
                           attribute("document-format", Tag.MIME_TYPE, PDF), job=_job_attributes(wishes),
                           document=content)
        return self._job(answer.group(GroupTag.JOB))

    def job(self, job_id: int) -> JobReport:
        """Ask what became of a job."""
        answer = self._ask(GET_JOB_ATTRIBUTES, attribute("job-id", Tag.INTEGER, job_id),
                           attribute("requested-attributes", Tag.KEYWORD, *_OF_JOB))
        return self._job(answer.group(GroupTag.JOB))

    def jobs(self, *, finished: bool) -> list[JobReport]:
        """Ask for all jobs that are not finished, or for the last ones finished that the printer still remembers."""
        which = "completed" if finished else "not-completed"
        answer = self._ask(GET_JOBS, attribute("which-jobs", Tag.KEYWORD, which),
                           attribute("limit", Tag.INTEGER, MOST_JOBS),
                           attribute("requested-attributes", Tag.KEYWORD, *_OF_JOB))
        return [self._job(group) for group in answer.groups if group.tag == GroupTag.JOB and group.attributes]

    def _ask(self, operation: int, *attributes: Attribute, job: Sequence[Attribute] = (), document: bytes = b""
             ) -> Message:
        # The first two stand in this order, then what is spoken to. Source: RFC 8011, sections 4.1.4.1 and 4.1.5
        target = [one for one in attributes if one.name == "job-id"]
        rest = [one for one in attributes if one.name != "job-id"]
        first = (attribute("attributes-charset", Tag.CHARSET, "utf-8"),
                 attribute("attributes-natural-language", Tag.LANGUAGE, "en"),
                 attribute("printer-uri", Tag.URI, self.address.uri), *target,
                 attribute("requesting-user-name", Tag.NAME, as_name(self._user)))
        groups = (Group(GroupTag.OPERATION, (*first, *rest)), *([Group(GroupTag.JOB, tuple(job))] if job else []))
        self._requests += 1
        request = Message(operation, self._requests, groups, document)
        until = self._clock.monotonic() + self._deadline
        answer = decode(post(self.address, encode(request), self._clock.monotonic, until, self._trust))
        if answer.request_id != request.request_id:
            raise PrinterError("answer to another request", where=self.address.uri,
                               expected=f"request {request.request_id}", got=answer.request_id,
                               remedy="Switch the printer off and on if this recurs.")
        if answer.code >= FIRST_ERROR:
            raise self._refusal(answer)
        return answer

    def _refusal(self, answer: Message) -> DeclinedError:
        message = _text(answer.group(GroupTag.OPERATION), "status-message")
        refused = DeclinedError("printer refuses", where=self.address.uri, expected="successful-ok",
                               got=f"{status_words(answer.code)} {message}".strip(),
                               remedy="Look at the printer; the certificate waits.")
        refused.status = answer.code
        return refused

    def _job(self, told: Group) -> JobReport:
        job_id, created = _number(told, "job-id"), told.first("time-at-creation")
        if job_id < 1:
            raise PrinterError("a job without number", where=self.address.uri, expected="job-id of 1 or more",
                               got=told.first("job-id"), remedy="Report the make of the printer as unsuitable.")
        return JobReport(job_id, _text(told, "job-name"), _number(told, "job-state"),
                         _texts(told, "job-state-reasons"), created if isinstance(created, int) else None)


def as_name(text: str) -> str:
    """Return `text` as long as a name may be: 255 octets. Source: RFC 8011, section 5.1.3."""
    return text.encode()[:255].decode("utf-8", "ignore")


def _job_attributes(wishes: Wishes) -> list[Attribute]:
    wanted = [] if wishes.copies == 1 else [attribute("copies", Tag.INTEGER, wishes.copies)]
    for name, keyword in (("media", wishes.media), ("sides", wishes.sides)):
        wanted += [attribute(name, Tag.KEYWORD, keyword)] if keyword else []
    return wanted


def _text(group: Group, name: str) -> str:
    content = group.first(name)
    return content if isinstance(content, str) else ""


def _texts(group: Group, name: str) -> tuple[str, ...]:
    return tuple(content for content in group.contents(name) if isinstance(content, str))


def _number(group: Group, name: str) -> int:
    content = group.first(name)
    return content if isinstance(content, int) else 0
