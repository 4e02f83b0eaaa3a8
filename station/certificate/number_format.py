"""How numbers are printed: two digits of expanded uncertainty, and never against the verdict."""

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal
from functools import lru_cache
from math import atan, cos, isfinite, pi, sin, sqrt

COVERAGE = 0.9545          # probability for which k is 2.00 when the degrees of freedom are many
_Z = 2.0000024             # normal quantile of that probability, two-sided
_CONTEXT = Context(prec=400, rounding=ROUND_HALF_EVEN)
_GROUP = "\u202f"          # narrow space that no line break may take
_MANY = 60                 # from here on the expansion is right to better than 1e-5
_TOO_LONG = 1e9            # from here on digits before the point say less than an exponent


@dataclass(frozen=True, slots=True)
class PrintedNumber:
    """Value, expanded uncertainty and limits as texts; empty where there is none."""

    value: str
    uncertainty: str
    acceptance_lower: str
    acceptance_upper: str


@lru_cache(maxsize=1024)
def coverage_factor(dof: float | None) -> float | None:
    """Return k for 95.45 % from Student's t; None if there is less than one degree of freedom.

    `dof` None or infinite means many, so that k is 2. A broken number of degrees is cut
    to the next lower whole one, so that k is rather too large. Source: JCGM 100, annex G.
    """
    if dof is None or dof == float("inf"):
        return 2.0
    if not dof >= 1:  # also NaN
        return None
    whole = int(dof)
    if whole >= _MANY:
        return _Z + (_Z**3 + _Z) / (4 * whole) + (5 * _Z**5 + 16 * _Z**3 + 3 * _Z) / (96 * whole**2)
    low, high = 0.0, 100.0
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if _inside(middle, whole) < COVERAGE else (low, middle)
    return high


def expanded(u: float | None, dof: float | None) -> float | None:
    """Return k x `u`, or None where no uncertainty is known."""
    factor = coverage_factor(dof)
    if u is None or factor is None or not isfinite(u) or u < 0:
        return None
    return factor * u


def uncertainty_text(uncertainty: float) -> str:
    """Return `uncertainty` to two significant digits, nearest, halves to even."""
    return _text(_rounded(uncertainty, _decimals(uncertainty)))


def pair(value: float, uncertainty: float | None) -> tuple[str, str]:
    """Return value and expanded uncertainty, both to the decimal place of the uncertainty.

    Source: JCGM 100, 7.2.6 (two digits at most); rounding to the nearest is the choice made here.
    """
    printed = number(value, uncertainty, (None, None), (None, None))
    return printed.value, printed.uncertainty


def number(value: float, uncertainty: float | None, tolerance: tuple[float | None, float | None],
           acceptance: tuple[float | None, float | None]) -> PrintedNumber:
    """Return what is printed for a judged value, with as many digits as the truth needs.

    Digits are added until every printed comparison of the value with a limit comes out as the
    comparison of the unrounded numbers did, so that no reader can find a verdict contradicted.
    Limits are (lower, upper); None where there is none.
    """
    if uncertainty is None or uncertainty == 0:
        return PrintedNumber(plain(value), "0" if uncertainty == 0 else "", *map(_optional, acceptance))
    decimals = start = _decimals(uncertainty)
    while not _agree(value, decimals, tolerance, acceptance):
        decimals += 1
    lower, upper = (("" if a is None else _text(_rounded(a, max(decimals, 0)))) for a in acceptance)
    return PrintedNumber(_text(_rounded(value, decimals)), _text(_rounded(uncertainty, start)), lower, upper)


def plain(value: float) -> str:
    """Return a number that has no uncertainty, such as a limit as it was typed."""
    exact = Decimal(repr(float(value)))
    places = max(0, -int(exact.as_tuple().exponent))
    return _text(exact.quantize(Decimal(1), context=_CONTEXT) if exact == exact.to_integral_value()
                 else _rounded(value, places))


def _optional(value: float | None) -> str:
    return "" if value is None else plain(value)


def _agree(value: float, decimals: int, tolerance: tuple[float | None, float | None],
           acceptance: tuple[float | None, float | None]) -> bool:
    """Tell whether the printed digits put the value on the true side of each printed limit."""
    true, shown = Decimal(repr(float(value))), _rounded(value, decimals)
    for (lower, upper), places in ((tolerance, None), (acceptance, max(decimals, 0))):
        for limit, sign in ((lower, 1), (upper, -1)):
            if limit is None:
                continue
            exact = Decimal(repr(float(limit)))
            printed = exact if places is None else _rounded(limit, places)
            if (sign * (true - exact) >= 0) != (sign * (shown - printed) >= 0):
                return False
    return True


def _decimals(uncertainty: float) -> int:
    """Decimal places at which `uncertainty` shows two digits; 0.0996 becomes 0.10, not 0.100."""
    exact = Decimal(repr(float(uncertainty)))
    places = 1 - exact.adjusted()
    return places - 1 if _rounded(uncertainty, places).adjusted() > exact.adjusted() else places


def _rounded(value: float, decimals: int) -> Decimal:
    return Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-decimals), context=_CONTEXT)


def _text(rounded: Decimal) -> str:
    if rounded.is_zero():
        rounded = abs(rounded)  # Decimal keeps a sign that "-0.00" must not show
    if abs(rounded) >= _TOO_LONG:
        return f"{rounded:.3e}".replace("e+", "e").replace("-", "−")
    whole, _, part = f"{rounded:f}".partition(".")
    digits = whole.lstrip("-")
    if len(digits) > 4:
        digits = f"{int(digits):,}".replace(",", _GROUP)
    return ("−" if whole.startswith("-") else "") + digits + (f".{part}" if part else "")


def _inside(t: float, dof: int) -> float:
    """Probability that Student's t with whole `dof` lies within ±t (finite trigonometric series).

    Source: Abramowitz and Stegun 26.7.3 and 26.7.4.
    """
    angle = atan(t / sqrt(dof))
    square = cos(angle)**2
    if dof % 2 == 0:
        term = total = 1.0
        for j in range(1, dof // 2):
            term *= square * (2 * j - 1) / (2 * j)
            total += term
        return sin(angle) * total
    if dof == 1:
        return 2 / pi * angle
    term = total = cos(angle)
    for j in range(1, (dof - 1) // 2):
        term *= square * (2 * j) / (2 * j + 1)
        total += term
    return 2 / pi * (angle + sin(angle) * total)
