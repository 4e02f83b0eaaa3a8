"""IPP's numbers and keywords in words: status codes, states of jobs and printers, and what a printer lacks."""

from collections.abc import Iterable
from enum import IntEnum

# Source: RFC 8011, appendix B.1, from memory; 0x0507 also as the test printer answers it.
_STATUS = {
    0x0000: "successful-ok", 0x0001: "successful-ok-ignored-or-substituted-attributes",
    0x0002: "successful-ok-conflicting-attributes",
    0x0400: "client-error-bad-request", 0x0401: "client-error-forbidden", 0x0402: "client-error-not-authenticated",
    0x0403: "client-error-not-authorized", 0x0404: "client-error-not-possible", 0x0405: "client-error-timeout",
    0x0406: "client-error-not-found", 0x0407: "client-error-gone", 0x0408: "client-error-request-entity-too-large",
    0x0409: "client-error-request-value-too-long", 0x040A: "client-error-document-format-not-supported",
    0x040B: "client-error-attributes-or-values-not-supported", 0x040C: "client-error-uri-scheme-not-supported",
    0x040D: "client-error-charset-not-supported", 0x040E: "client-error-conflicting-attributes",
    0x040F: "client-error-compression-not-supported", 0x0410: "client-error-compression-error",
    0x0411: "client-error-document-format-error", 0x0412: "client-error-document-access-error",
    0x0500: "server-error-internal-error", 0x0501: "server-error-operation-not-supported",
    0x0502: "server-error-service-unavailable", 0x0503: "server-error-version-not-supported",
    0x0504: "server-error-device-error", 0x0505: "server-error-temporary-error",
    0x0506: "server-error-not-accepting-jobs", 0x0507: "server-error-busy", 0x0508: "server-error-job-canceled",
    0x0509: "server-error-multiple-document-jobs-not-supported",
}
NOT_FOUND = 0x0406
BUSY = 0x0507
# Whatever else stands in the way can be mended at the printer or in the station file; these lie in the document.
BAD_DOCUMENT = frozenset({0x0408, 0x0411})


class JobState(IntEnum):
    """Where a job is. Source: RFC 8011, section 5.3.7."""

    PENDING = 3
    HELD = 4
    PROCESSING = 5
    STOPPED = 6
    CANCELED = 7
    ABORTED = 8
    COMPLETED = 9


PRINTER_STATES = {3: "idle", 4: "processing", 5: "stopped"}    # Source: RFC 8011, section 5.4.11

# Source of the keywords: RFC 8011, section 5.4.12, from memory; the words are ours.
_REASONS = {
    "media-needed": "it waits for paper", "media-jam": "paper is jammed", "media-low": "paper runs low",
    "media-empty": "paper is empty", "moving-to-paused": "it is being paused", "paused": "it is paused",
    "shutdown": "it is being switched off", "connecting-to-device": "it connects to its print engine",
    "timed-out": "its print engine does not answer", "stopping": "it is stopping",
    "stopped-partly": "a part of it has stopped", "toner-low": "toner runs low", "toner-empty": "toner is empty",
    "spool-area-full": "its memory is full", "cover-open": "a cover is open", "interlock-open": "a lock is open",
    "door-open": "a door is open", "input-tray-missing": "a paper tray is missing",
    "output-tray-missing": "the output tray is missing", "output-area-almost-full": "the output tray is almost full",
    "output-area-full": "the output tray is full", "marker-supply-low": "ink or toner runs low",
    "marker-supply-empty": "ink or toner is empty", "marker-waste-almost-full": "the waste container is almost full",
    "marker-waste-full": "the waste container is full", "fuser-over-temp": "the fuser is too hot",
    "fuser-under-temp": "the fuser is too cold", "opc-near-eol": "the drum is almost worn",
    "opc-life-over": "the drum is worn", "developer-low": "developer runs low",
    "developer-empty": "developer is empty",
    "interpreter-resource-unavailable": "it lacks a font or form", "identify-printer-requested": "",
    "none": "", "other": "it gives no reason that has a name",
}
_SEVERITIES = ("-error", "-warning", "-report")


def status_words(status: int) -> str:
    """Return the name of a status code with its number."""
    return f"{_STATUS.get(status, 'a status of its own')} (0x{status:04x})"


def job_words(state: int) -> str:
    """Return the state of a job in a word."""
    return JobState(state).name.lower() if state in set(JobState) else f"state {state}"


def reason_words(reasons: Iterable[object]) -> str:
    """Return printer-state-reasons in words for the operator, empty for none; unknown keywords as they are."""
    words = []
    for reason in map(str, reasons):
        bare = next((reason.removesuffix(end) for end in _SEVERITIES if reason.endswith(end)), reason)
        words.append(_REASONS.get(bare, bare.replace("-", " ")))
    return ", ".join(dict.fromkeys(word for word in words if word))
