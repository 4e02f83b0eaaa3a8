"""The report of the study of a type as one PDF: what is weak in words, then tables, then plots."""

from collections.abc import Iterator, Sequence

from station.certificate import fonts
from station.certificate.marks import GREY, RED
from station.study.capability import Estimate
from station.study.characteristic_study import CONFIDENCE, SHARE, CharacteristicStudy
from station.study.pages import SMALL, Column, Pages, document
from station.study.picture import Picture
from station.study.type_study import TypeStudy, about_all
from station.study.weakness import Weight, percent
from station.units import printed

INDICES = (Column("characteristic", 30), Column("n", 5, number=True), Column("tolerance", 14), Column("unit", 7),
           Column("mean or median", 11, number=True), Column("s", 9, number=True),
           Column("s without measuring", 9, number=True), Column("Cp", 6, number=True), Column("Cpk", 6, number=True),
           Column("Pp", 6, number=True), Column("Ppk (95 % interval)", 17, number=True),
           Column("outside", 7, number=True))
FORMS = (Column("characteristic", 30), Column("spreads as", 13), Column("Anderson-Darling", 10, number=True),
         Column("p", 8, number=True), Column("skewness", 8, number=True), Column("tolerance interval", 20),
         Column("between lots", 9, number=True), Column("between stations", 9, number=True),
         Column("measuring", 8, number=True))
PAIRS = (Column("characteristic", 34), Column("and", 34), Column("rank correlation", 10, number=True),
         Column("95 % interval", 14, number=True), Column("motors", 7, number=True))
READING = (
    "Cp and Cpk: spread within lots and stations. Pp and Ppk: spread of all motors. Magnitudes (spread, unbalance, "
    "distortion, ripple) begin at zero: their Ppk is that of the fitted family, by its median and 99.865 % quantile, "
    "and they have no Cp. Counts have a proportion instead. Limits are tolerance limits. The spread holds that of "
    "measuring; its share of the variance is the largest it can be, as what all motors of a bench share does not "
    f"spread them. Tolerance interval: holds {100 * SHARE:g} % of the motors with {100 * CONFIDENCE:g} % confidence, "
    "if they are normal."
)
MAGNITUDE = "magnitude"


def type_report(whole: TypeStudy, pictures: Sequence[Picture]) -> bytes:
    """Return the PDF; the same study and pictures give the same bytes."""
    of, limits = whole.population, whole.limits
    heads = "; ".join(f"{origin} {size} {root[:16]}" for origin, size, root in of.logs)
    foot = f"limits {limits.name} revision {limits.revision.number} {limits.sha256[:16]}   log {heads}"
    return document(f"Study of motor type {of.motor_type}", foot, lambda pages: _write(pages, whole, pictures))


def _write(pages: Pages, whole: TypeStudy, pictures: Sequence[Picture]) -> None:
    pages.heading(f"Study of motor type {whole.population.motor_type}, sequence revision "
                  f"{whole.population.sequence_revision}", size=14)
    for line in about_all(whole):
        heavy = line.startswith(("Weak", "WARNING", "Lot "))
        pages.paragraph(line, font=fonts.BOLD if heavy else fonts.REGULAR)
    pages.heading("What to look at, the weakest first")
    _remarks(pages, whole)
    pages.heading("Capability")
    pages.table(INDICES, [_indices(row.study) for row in whole.rows])
    pages.paragraph(READING, size=SMALL, colour=GREY)
    pages.heading("Form and origin of the spread")
    pages.table(FORMS, [_form(row.study) for row in whole.rows if row.study.index or row.study.normality])
    if whole.pairs:
        pages.heading("What moves together")
        pages.table(PAIRS, [(pair.first, pair.second, f"{pair.r.value:.2f}", _interval(pair.r), str(pair.n))
                            for pair in whole.pairs])
    for picture in pictures:
        pages.picture(picture.png)


def _remarks(pages: Pages, whole: TypeStudy) -> None:
    told = [row for row in whole.rows if row.weight > Weight.NOTE]
    if not told:
        pages.paragraph("Nothing.")
    for row in told:
        pages.paragraph(row.study.sample.key, font=fonts.BOLD, colour=RED if row.weight is Weight.WEAK else GREY)
        for remark in row.remarks:
            pages.paragraph(remark.text + ".", indent=10)


def indices_of(one: CharacteristicStudy) -> Iterator[str]:
    """Yield Cp, Cpk, Pp and Ppk as text, the last with its interval; empty where there is none."""
    of = one.capability
    for index in (of.cp, of.cpk, of.pp) if of else (None, None, None):
        yield "" if index is None else f"{index.value:.2f}"
    yield f"{one.index.value:.2f} ({_interval(one.index)})" if one.index else ""


def _indices(one: CharacteristicStudy) -> list[str]:
    sample, shape = one.sample, one.shape
    middle = "" if shape is None else f"{shape.median if sample.nature == MAGNITUDE else shape.mean:.4g}"
    outside = f"{one.beyond.count}" if one.beyond else ""
    return [sample.key, str(one.n), tolerance_of(one), printed(sample.unit), middle,
            f"{shape.s:.3g}" if shape else "", f"{one.true_s:.3g}" if one.true_s is not None else "",
            *indices_of(one), outside]


def _form(one: CharacteristicStudy) -> list[str]:
    spreads = f"{one.fit.family} fit" if one.fit else "magnitude, no fit" if one.sample.nature == MAGNITUDE else "value"
    ends = ["" if end is None else f"{end:.4g}" for end in one.holds] if one.holds else []
    return [one.sample.key, spreads, f"{one.normality.statistic:.2f}" if one.normality else "",
            f"{one.normality.p:.2g}" if one.normality else "", f"{one.shape.skewness:.2f}" if one.shape else "",
            " to ".join(ends), *(percent(between.share) if between else "" for between in (one.lots, one.stations)),
            percent(one.measuring) if one.measuring is not None else ""]


def tolerance_of(one: CharacteristicStudy) -> str:
    """Return the tolerance limits as text, an end left out where there is none."""
    lower, upper = ("" if end is None else f"{end:.6g}" for end in (one.sample.lower, one.sample.upper))
    return f"{lower} to {upper}" if lower and upper else f"at least {lower}" if lower else f"at most {upper}"


def _interval(estimate: Estimate) -> str:
    return f"{estimate.low:.2f} to {estimate.high:.2f}"
