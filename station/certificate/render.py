"""Prints a record as a certificate: the same record gives the same bytes, everywhere and always."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from station.certificate.closing import closing, stitched_parts
from station.certificate.families import Family, family_table, sort_families
from station.certificate.log_place import LogPlace, log_place
from station.certificate.rows import Row, judged_rows, labels_of, other_rows, refuse_contradiction
from station.certificate.sheet import Imprint, Sheet
from station.certificate.summary import certificate_number, summary
from station.certificate.tables import judged_table, other_rest_table, other_table, rest_table
from station.certificate.waveform_plot import deciding_plot, waveform_plot
from station.errors import EvidenceError, StationError
from station.record.merkle import leaf_hash
from station.record.record import canonical, sha256_of

TITLE = "Motor test certificate"
ORDINARY = 2                                   # pages of a test with four captures
SPACINGS = (1.2, 0.7, 0.3, 0.0, -0.4)          # points added between rows, as much as keeps to those pages
VERDICTS = ("PASS", "FAIL", "NO RESULT")


def render_certificate(record: Mapping[str, Any]) -> bytes:
    """Return the certificate of `record` as a PDF of A4 pages.

    A pure function of the record: no clock, no files but the shipped fonts. What the record does
    not say is printed as "not recorded"; a verdict that it does not say is NO RESULT.

    Raises
    ------
    EvidenceError
        The record says PASS where its own rows do not, or is no JSON.
    """
    refuse_contradiction(record)    # before anything else: a value that is no number is first of all no PASS
    return render_pages(record, _body(record))


def render_pages(record: Mapping[str, Any], body: bytes) -> bytes:
    """Return the certificate of `record`, whose canonical bytes are known to be `body`; see `render_certificate`."""
    refuse_contradiction(record)
    content = _content(record, body)
    pages, air = _layout(content)
    return _draw(content, pages, air).stream.getvalue()


def _layout(content: "_Content") -> tuple[int, float]:
    """Return how many pages it takes, and the points between rows; wide where it turns pages anyway."""
    for air in SPACINGS:
        pages = _draw(content, ORDINARY, air, trial=True).page
        if pages == ORDINARY:
            return pages, air
        if pages != ORDINARY + 1:
            break  # no spacing will bring that to two pages
    return _draw(content, ORDINARY, SPACINGS[0], trial=True).page, SPACINGS[0]


@dataclass(frozen=True, slots=True)
class _Content:
    """What is to be printed, sorted once for all attempts to place it."""

    record: Mapping[str, Any]
    sha256: str
    place: LogPlace | None
    judged: list[Row]
    others: list[Row]
    families: list[Family]
    single: list[Row]
    order: list[str]


def _content(record: Mapping[str, Any], body: bytes) -> _Content:
    judged, others = judged_rows(record), other_rows(record)
    families, single = sort_families([row for row in others if row.cells.keys() - {""}])
    order = [str(c.get("label")) for c in record.get("captures") or ()]
    place = log_place(record, leaf_hash(body))
    return _Content(record, sha256_of(body), place, judged, others, families, single, order)


def _body(record: Mapping[str, Any]) -> bytes:
    try:
        return canonical(record)
    except StationError as error:
        raise EvidenceError("the record cannot be written as canonical JSON", where="certificate",
                            expected="texts, finite numbers, true, false, null, lists and tables", got=error.got,
                            remedy="Find the room that put this value into the record.") from error


def _draw(content: _Content, pages: int, air: float, *, trial: bool = False) -> Sheet:
    """Draw the whole document, its pages numbered "of `pages`", with `air` points between rows."""
    record = content.record
    sheet = Sheet(_imprint(content, pages), air, trial)
    captures = labels_of(content.others, content.order)
    summary(sheet, record, content.place)
    plot = deciding_plot(record)
    if plot is not None:
        waveform_plot(sheet, plot)
    rest_table(sheet, "Judged: motor at rest, and both directions together", _at_rest(content.judged))
    parts = stitched_parts(record)
    stitched = f" (stitched, {parts} captures)" if parts > 1 else ""
    judged_table(sheet, "Judged: each capture" + stitched, content.judged, labels_of(content.judged, content.order))
    other_table(sheet, "Without limits: each capture, value ± U", content.single, captures)
    family_table(sheet, "Without limits: each line and each Hall sensor; U is the largest of the captures beside it",
                 content.families, captures)
    other_rest_table(sheet, "Without limits: motor at rest, and both directions together",
                     _at_rest(content.others))
    closing(sheet, record, content.sha256)
    sheet.finish()
    return sheet


def _at_rest(rows: list[Row]) -> list[Row]:
    return [row for row in rows if "" in row.cells]


def _imprint(content: _Content, pages: int) -> Imprint:
    record = content.record
    bench = record.get("bench") or {}
    warning = ("GENERATED, NOT EVEN THE SIMULATED BENCH WAS AT WORK: NO MOTOR WAS TESTED" if bench.get("generated") else
               f"MADE ON THE EMBEDDED SIMULATED BENCH, PACE x{bench.get('pace') or 1:g}: NO MOTOR WAS TESTED"
               if bench.get("simulated") else "")
    verdict = record.get("verdict")
    return Imprint(TITLE, certificate_number(record), str(verdict) if verdict in VERDICTS else "NO RESULT",
                   warning, pages, content.place.footer if content.place else "")
