"""Prints a record as a certificate: the same record gives the same bytes, everywhere and always."""

from collections.abc import Mapping
from typing import Any

from station.certificate.closing import closing
from station.certificate.rows import Row, judged_rows, labels_of, other_rows, refuse_contradiction
from station.certificate.sheet import Imprint, Sheet
from station.certificate.summary import certificate_number, summary
from station.certificate.tables import judged_table, other_table, rest_table
from station.certificate.waveform_plot import waveform_plot

TITLE = "Motor test certificate"
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
    refuse_contradiction(record)
    pages = _draw(record, 0).page
    return _draw(record, pages).stream.getvalue()


def _draw(record: Mapping[str, Any], pages: int) -> Sheet:
    """Draw the whole document; once to count its pages and once to number them."""
    sheet = Sheet(_imprint(record, pages))
    order = [str(c.get("label")) for c in record.get("captures") or ()]
    judged, others = judged_rows(record), other_rows(record)
    summary(sheet, record)
    for plot in (record.get("plots") or ())[:1]:
        waveform_plot(sheet, plot)
    rest_table(sheet, "Judged: motor at rest, and both directions together", _at_rest(judged), judged=True)
    judged_table(sheet, "Judged: each capture", judged, labels_of(judged, order))
    rest_table(sheet, "Without limits: motor at rest, and both directions together", _at_rest(others),
               judged=False)
    closing(sheet, record)
    other_table(sheet, "Without limits: each capture, value ± U", others, labels_of(others, order))
    sheet.finish()
    return sheet


def _at_rest(rows: list[Row]) -> list[Row]:
    return [row for row in rows if "" in row.cells]


def _imprint(record: Mapping[str, Any], pages: int) -> Imprint:
    bench = record.get("bench") or {}
    warning = (f"MADE ON THE EMBEDDED SIMULATED BENCH, PACE x{bench.get('pace') or 1:g}: NO MOTOR WAS TESTED"
               if bench.get("simulated") else "")
    verdict = record.get("verdict")
    return Imprint(TITLE, certificate_number(record), str(verdict) if verdict in VERDICTS else "NO RESULT",
                   warning, pages)
