"""Reads where the words of a certificate stand, with a program that is not ours."""

import re
import subprocess
from dataclasses import dataclass
from html import unescape
from pathlib import Path

_PAGE = re.compile(r'<page width="([\d.]+)" height="([\d.]+)">')
_WORD = re.compile(r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>')


@dataclass(frozen=True, slots=True)
class Word:
    """A word and its box in points, from the upper left corner of the page."""

    page: int
    left: float
    top: float
    right: float
    bottom: float
    text: str

    def overlap(self, other: "Word") -> tuple[float, float]:
        """Return how far the two boxes lie over each other, across and down; negative if apart."""
        return (min(self.right, other.right) - max(self.left, other.left),
                min(self.bottom, other.bottom) - max(self.top, other.top))


def words_of(pdf: bytes, folder: Path) -> list[Word]:
    """Return the words in the order in which they were written."""
    path = folder / "certificate.pdf"
    path.write_bytes(pdf)
    text = subprocess.run(["pdftotext", "-bbox", str(path), "-"], capture_output=True, text=True, check=True).stdout
    page, words = 0, []
    for line in text.splitlines():
        page += bool(_PAGE.search(line))
        if found := _WORD.search(line):
            left, top, right, bottom = map(float, found.groups()[:4])
            words.append(Word(page, left, top, right, bottom, unescape(found.group(5))))
    return words


def line_of(words: list[Word], name: str, names: set[str]) -> list[Word]:
    """Return the words right of the row `name`, as far as the next of `names` on the same line.

    A name may also stand in the running text of the head; the row is where it stands last.
    """
    start = max((word for word in words if word.text == name), key=lambda word: (word.page, word.top))
    line = sorted((word for word in words if word.page == start.page and word.left > start.left
                   and abs(_middle(word) - _middle(start)) < 2.2), key=lambda word: word.left)
    stop = next((word.left for word in line if word.text in names), float("inf"))
    return [word for word in line if word.left < stop]


def overlapping(words: list[Word]) -> list[tuple[str, str]]:
    """Return the pairs of words of which one lies on the other.

    A box is as high as its type is large, from the tops of the letters to the feet of the longest.
    """
    pairs = []
    ordered = sorted(words, key=lambda word: (word.page, word.top))
    for index, one in enumerate(ordered):
        for other in ordered[index + 1:]:
            if other.page != one.page or other.top >= one.bottom:
                break
            across, down = one.overlap(other)
            if across > 0.3 and down > 0.05 * min(one.bottom - one.top, other.bottom - other.top):
                pairs.append((one.text, other.text))
    return pairs


def _middle(word: Word) -> float:
    return (word.top + word.bottom) / 2
