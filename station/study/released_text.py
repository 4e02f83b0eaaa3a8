"""The text of a released limit file: that of its draft, comments and all, with who released it and why."""

import json
import re
import tomllib
from collections.abc import Mapping
from datetime import date

from station.errors import UsageError
from station.judgement.limit_file import LimitFile

_HEADER = re.compile(r"\s*\[\s*revision\s*\]\s*(#.*)?")
_ANY_HEADER = re.compile(r"\s*\[")
_REPLACED = re.compile(r"\s*(reason|study|released_by|released_on)\s*=")


def released_text(draft: LimitFile, *, person: str, on: date, reason: str, study: str) -> str:
    """Return the text of `draft` with these keys in its table `[revision]`; all else stays as typed.

    Raises
    ------
    UsageError
        The table is written in a way that cannot be added to.
    """
    said: dict[str, str | date] = {"released_by": person, "released_on": on, "reason": reason, "study": study}
    lines = draft.text.splitlines(keepends=True)
    starts = [number for number, line in enumerate(lines) if _HEADER.fullmatch(line.rstrip("\r\n"))]
    if len(starts) == 1:
        text = _with(lines, starts[0], [f"{key} = {_value(value)}" for key, value in said.items()])
        if _says(text, draft.text, said):
            return text
    raise UsageError("the table [revision] cannot be added to", where=draft.name,
                     expected="a line [revision] with a key and its value on each line below", got="another way",
                     remedy="Write it as in the shipped limit files, then make the study anew.")


def _with(lines: list[str], start: int, added: list[str]) -> str:
    following = (number for number, line in enumerate(lines) if number > start and _ANY_HEADER.match(line))
    end = next(following, len(lines))
    table = [line for line in lines[start:end] if not _REPLACED.match(line)]
    last = max(number for number, line in enumerate(table) if line.strip() and not line.lstrip().startswith("#"))
    newline = "\r\n" if lines[start].endswith("\r\n") else "\n"
    before = "".join((*lines[:start], *table[:last + 1]))
    between = "" if before.endswith("\n") else newline
    return before + between + newline.join(added) + newline + "".join((*table[last + 1:], *lines[end:]))


def _value(value: str | date) -> str:
    """Return a TOML value. What JSON writes for a text, TOML reads likewise, but for one control character."""
    return value.isoformat() if isinstance(value, date) else json.dumps(value, ensure_ascii=False).replace(
        "\x7f", "\\u007F")


def _says(text: str, draft: str, said: Mapping[str, str | date]) -> bool:
    """Return whether `text` is the draft with nothing but `said` in its revision."""
    try:
        tables, wanted = tomllib.loads(text), tomllib.loads(draft)
    except tomllib.TOMLDecodeError:
        return False
    wanted["revision"] = wanted["revision"] | dict(said)
    return tables == wanted
