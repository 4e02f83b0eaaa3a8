"""The languages of the screens: one file of words each, and numbers as people there write them.

The operator's pages are complete in each; those of the desk fall back to English, phrase by phrase.
"""

import tomllib
from dataclasses import dataclass
from functools import cache
from math import isfinite
from pathlib import Path

FOLDER = Path(__file__).with_name("words")
DRAWN = "⚠✓✗–"      # by style sheets
THIN, FIRM, MINUS = "\u2009", "\u00a0", "\u2212"     # thin space, no-break space, real minus


@dataclass(frozen=True, slots=True)
class Words:
    """One language: its code by BCP 47, its own name, its decimal sign and its texts by key."""

    code: str
    name: str
    decimal: str
    texts: dict[str, str]

    def text(self, key: str, **given: object) -> str:
        """Return the text of `key` with what is `given` filled in; KeyError for a key that no language has."""
        return self.texts[key].format(**given)

    @property
    def letters(self) -> str:
        """Every character of the texts beyond ASCII, and those that style sheets add: what fonts must have."""
        used = {c for text in (*self.texts.values(), DRAWN) for c in text}
        return "".join(sorted(c for c in used if c > "~" and c.isprintable()))

    def number(self, value: float | None, digits: int = 4, unit: str = "") -> str:
        """Return a number with `digits` significant ones as people write it, with its unit; a dash for none."""
        if value is None or not isfinite(value):
            return "–"
        plain = f"{value:.{digits}g}"
        if "e" in plain:
            plain = f"{value:.0f}" if abs(value) >= 1 else plain
        head, dot, tail = plain.lstrip("-").partition(".")
        grouped = _grouped(head) if head.isdigit() and len(head) > 4 else head
        sign = MINUS if value < 0 and float(plain) != 0 else ""
        return sign + grouped + (self.decimal + tail if dot else "") + (FIRM + unit if unit else "")


@cache
def languages() -> dict[str, Words]:
    """Return every language shipped, by code; what a desk page says in none but English is English in all."""
    found, english = {}, _read(FOLDER / "en.toml")
    for path in sorted(FOLDER.glob("*.toml")):
        texts = english | _read(path)
        found[path.stem] = Words(path.stem, texts["language.name"], texts["language.decimal"], texts)
    return found


def _read(path: Path) -> dict[str, str]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def language_for(chosen: str, accepted: str) -> Words | None:
    """Return the language `chosen` by a person, else the first of those that a browser accepts (RFC 9110 12.5.4)."""
    wished = [chosen, *(entry.partition(";")[0].strip() for entry in accepted.split(","))]
    for code in wished:
        found = languages().get(code) or languages().get(code.partition("-")[0].lower())
        if found:
            return found
    return None


def _grouped(digits: str) -> str:
    first = len(digits) % 3 or 3
    return THIN.join([digits[:first], *(digits[i:i + 3] for i in range(first, len(digits), 3))])


DEFAULT = languages()["en"]
