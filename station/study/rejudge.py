"""All tests of a table judged again by another limit file, most of them without a look at their values.

What a run came to by its own limit file is stored as counts of values that failed and that were missing. Only values
whose limits differ are judged, and of these, groups of rows whose least and largest value lie within the acceptance
limits are not even read. A run whose own limit file is unknown is judged whole.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.errors import EvidenceError
from station.judgement.judge import covered
from station.judgement.limit_file import LimitFile
from station.study.decide import FAIL, NO_RESULT, PASS, Bound, Results
from station.study.table_file import TableFile
from station.study.value_counts import Demand, count_results

VERDICTS = ("PASS", "FAIL", "NO RESULT")    # by their codes

Rows = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Rejudged:
    """Codes of the verdict of each row of a table: as stored, and by the other limit file."""

    old: Results
    new: Results


@dataclass(frozen=True, slots=True)
class Kind:
    """Rows that were tested with one limit file and by one choice of captures; none where that is every row."""

    limit_sha256: str
    labels: tuple[str, ...]
    groups: tuple[int, ...]         # in which there are such rows
    rows: Rows | None


def demands(limits: LimitFile, labels: Sequence[str]) -> tuple[Demand, ...]:
    """Return what a limit file asks of a run whose sequence takes these captures: a value within each limit."""
    return tuple(Demand(limit.key, f"{name}@{label}" if label else name, limit.unit,
                        Bound(limit.lower, limit.upper, limits.decision_of(limit)))
                 for limit in limits.limits for name, label in covered(limit, labels))


def changed(old: Iterable[Demand], new: Iterable[Demand]) -> tuple[list[Demand], list[Demand]]:
    """Return the demands that a new limit file adds, and those that it drops; the names of entries do not matter."""
    before, after = (Counter((d.column, d.unit, d.bound) for d in some) for some in (old, new))
    added, dropped = after - before, before - after
    return [Demand("", *one) for one in added.elements()], [Demand("", *one) for one in dropped.elements()]


def rejudge(file: TableFile, limits: LimitFile, in_force: Mapping[str, LimitFile]) -> Rejudged:
    """Return the verdicts of every run in a table by `limits`.

    `in_force` holds the limit files that the runs were judged by, by SHA-256, as far as they are known.

    Raises
    ------
    EvidenceError
        Stored counts do not follow from the values and the limit file in force.
    """
    old, new = np.full(file.rows, PASS, np.int8), np.full(file.rows, PASS, np.int8)
    loud = [group for group in range(file.groups) if not _all_pass(file, group)]
    stored = _stored(file, loud)
    old[stored.rows] = stored.verdict
    for kind in kinds(file):
        failed, missing, asked = _counts(file, limits, in_force.get(kind.limit_sha256), kind, loud, stored)
        verdict = np.full(file.rows, NO_RESULT if not asked else PASS, np.int8)
        verdict[missing > 0] = NO_RESULT
        verdict[stored.rows[stored.refused]] = NO_RESULT
        verdict[failed > 0] = FAIL
        verdict[stored.rows[stored.broken]] = FAIL
        verdict[stored.rows[stored.trouble]] = NO_RESULT
        if kind.rows is None:
            return Rejudged(old, verdict)
        new[kind.rows] = verdict[kind.rows]
    return Rejudged(old, new)


def kinds(file: TableFile) -> list[Kind]:
    """Return the kinds of rows, told from the bounds of each group where all its rows are alike."""
    pairs = [_pairs(file, group) for group in range(file.groups)]
    found: list[Kind] = []
    told = sorted({(sha256, tuple(file.about.labels.get(sequence, ()))) for one in pairs for sha256, sequence in one})
    for sha256, labels in told:
        groups = tuple(group for group, one in enumerate(pairs)
                       if any((s, tuple(file.about.labels.get(q, ()))) == (sha256, labels) for s, q in one))
        rows = None if len(told) == 1 else _rows_of(file, sha256, labels, groups)
        found.append(Kind(sha256, labels, groups, rows))
    return found


@dataclass(frozen=True, slots=True)
class _Stored:
    """What is stored of the rows in the groups that do not pass throughout."""

    rows: NDArray[np.int64]
    failed: NDArray[np.int64]
    missing: NDArray[np.int64]
    refused: Rows
    broken: Rows
    trouble: Rows
    verdict: Results


def _counts(file: TableFile, limits: LimitFile, own: LimitFile | None, kind: Kind, loud: Sequence[int],
            stored: _Stored) -> tuple[NDArray[np.int16], NDArray[np.int16], bool]:
    """Return of each row how many values fail and are missing by `limits`, and whether any is asked for."""
    asked = demands(limits, kind.labels)
    if own is None:
        whole = count_results(file, asked, kind.groups)
        return whole.failed, whole.missing, bool(asked)
    added, dropped = changed(demands(own, kind.labels), asked)
    more = count_results(file, added, kind.groups)
    less = count_results(file, dropped, [group for group in kind.groups if group in set(loud)])
    rows = stored.rows      # in all others nothing failed and nothing was missing
    known_failed, known_missing = (said.astype(np.int16) - dropping[rows] for said, dropping in (
        (stored.failed, less.failed), (stored.missing, less.missing)))
    _require_sense(known_failed, known_missing, kind, stored)
    more.failed[rows] += known_failed
    more.missing[rows] += known_missing
    return more.failed, more.missing, bool(asked)


def _require_sense(failed: NDArray[np.int16], missing: NDArray[np.int16], kind: Kind, stored: _Stored) -> None:
    """Raise EvidenceError where fewer values failed, or were missing, than of the limits that are taken away."""
    wrong = (failed < 0) | (missing < 0)
    wrong &= ~stored.trouble        # what was interrupted may have been judged in part, or not at all
    if kind.rows is not None:
        wrong &= kind.rows[stored.rows]
    if wrong.any():
        raise EvidenceError("stored counts do not follow from the limit file in force",
                            where=f"{int(wrong.sum())} tests by limit file {kind.limit_sha256[:12]}",
                            expected="as many failed values as the records say", got="fewer",
                            remedy="Audit the store: `station audit`.")


def _all_pass(file: TableFile, group: int) -> bool:
    return file.only("verdict", group) == VERDICTS[PASS]


def _stored(file: TableFile, groups: Sequence[int]) -> _Stored:
    rows = np.concatenate([file.places(group) for group in groups]) if groups else np.arange(0)
    said = file.read(("failed", "missing", "refused", "broken", "trouble"), groups)
    places, texts = file.texts("verdict", groups)
    codes = np.array([VERDICTS.index(text) for text in texts], np.int8)
    return _Stored(rows, said["failed"], said["missing"], said["refused"].astype(bool), said["broken"].astype(bool),
                   said["trouble"].astype(bool), codes[places])


def _pairs(file: TableFile, group: int) -> set[tuple[str, str]]:
    """Return the SHA-256 of limit file and sequence of the rows in a group."""
    sha256, sequence = (file.only(name, group) for name in ("limit_sha256", "sequence_sha256"))
    if sha256 is not None and sequence is not None:
        return {(sha256, sequence)}
    (at, shas), (by, sequences) = (file.texts(name, [group]) for name in ("limit_sha256", "sequence_sha256"))
    return {(shas[k], sequences[q]) for k, q in set(zip(at.tolist(), by.tolist(), strict=True))}


def _rows_of(file: TableFile, sha256: str, labels: tuple[str, ...], groups: Sequence[int]) -> Rows:
    rows = np.zeros(file.rows, bool)
    for group in groups:
        (at, shas), (by, sequences) = (file.texts(name, [group]) for name in ("limit_sha256", "sequence_sha256"))
        fitting = np.array([tuple(file.about.labels.get(text, ())) == labels for text in sequences])
        rows[file.places(group)] = (np.array(shas, object)[at] == sha256) & fitting[by]
    return rows
