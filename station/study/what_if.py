"""What a draft limit file would have said of every stored test, beside what was said then."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from station.errors import UsageError
from station.judgement.limit_file import LimitFile, parse_limits
from station.record.kept_files import FILES, kept_file
from station.study.capability import ENOUGH, Estimate, proportion
from station.study.causes import causes_of
from station.study.decide import NO_RESULT, PASS, Results
from station.study.rejudge import VERDICTS, kinds, rejudge
from station.study.table_file import TableFile
from station.study.wide_table import PRODUCTION, table_of
from station.toml_file import parse_toml

# Of the motor type, what a value depends on or is named by; a draft that changes it makes other values.
CONVENTIONS = ("pole_pairs", "winding", "forward", "viewed_from", "sensors", "reference")

Rows = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Span:
    """Which tests are looked at, by the date of their start in UTC, ISO 8601; `since` included, `until` not."""

    since: str = ""
    until: str = ""

    def words(self) -> str:
        """Return the filter in words, as the report states it."""
        times = [f"since {self.since}"] if self.since else []
        times += [f"before {self.until}"] if self.until else []
        return ", ".join(["runs of the production that are not void", *times])


@dataclass(frozen=True, slots=True)
class Yields:
    """First-pass yield: motors whose first test that counts passed, of those whose first test has a verdict."""

    passed: int
    motors: int
    share: Estimate | None      # with its exact interval at 95 %; None without a motor


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of the tests of some time: how many of each old verdict got which new one, and the yields."""

    span: Span
    tests: int
    confusion: Mapping[tuple[str, str], int]
    old: Yields
    new: Yields


@dataclass(frozen=True, slots=True)
class Flip:
    """One test whose verdict the draft changes, and the entries of the limit file that do it."""

    store: str
    serial: str
    run: int
    started: str
    old: str
    new: str
    causes: tuple[str, ...]
    shipped: bool       # it was the last test of a motor that passed


@dataclass(frozen=True, slots=True)
class Tests:
    """The table of one store, judged again, and which of its rows are looked at."""

    folder: Path
    file: TableFile
    in_force: Mapping[str, LimitFile]
    unknown: tuple[str, ...]        # limit files that were not kept
    started: NDArray[np.datetime64]
    counting: Rows                  # of the production and not void
    first: Rows
    last: Rows
    old: Results
    new: Results

    def within(self, span: Span) -> Rows:
        """Return which rows are looked at and fall into a span."""
        rows = self.counting.copy()
        if span.since:
            rows &= self.started >= np.datetime64(span.since, "ms")
        if span.until:
            rows &= self.started < np.datetime64(span.until, "ms")
        return rows


def judged_tests(folder: Path, draft: LimitFile, sequence_revision: str = "") -> Tests:
    """Return the tests of a store judged by a draft.

    Raises
    ------
    UsageError
        There are no tests of that type, or the draft names or measures values otherwise than the limits in force.
    EvidenceError
        Stored counts do not follow from stored values.
    """
    return judged_table(folder, table_of(folder, draft.motor_type.name, sequence_revision), draft)


def judged_table(folder: Path, file: TableFile, draft: LimitFile) -> Tests:
    """Return the tests in a table of the store at `folder` judged by a draft; errors as `judged_tests`."""
    hashes = sorted({kind.limit_sha256 for kind in kinds(file)})
    in_force = {sha256: limits for sha256 in hashes if (limits := _kept_limits(folder, sha256)) is not None}
    for limits in in_force.values():
        _require_same_conventions(draft, limits)
    again = rejudge(file, draft, in_force)
    groups = range(file.groups)
    said = file.read(("void", "first", "last", "started"), groups)
    places, texts = file.texts("kind", groups)
    production = np.array([text == PRODUCTION for text in texts])[places]
    return Tests(folder, file, in_force, tuple(sha for sha in hashes if sha not in in_force),
                 said["started"].astype("datetime64[ms]"), production & ~said["void"].astype(bool),
                 said["first"].astype(bool), said["last"].astype(bool), again.old, again.new)


def judged_stores(folders: Sequence[Path], draft: LimitFile, sequence_revision: str = "") -> list[Tests]:
    """Return the tests of several stores judged by a draft; UsageError if two of them hold tests of one log."""
    tests: list[Tests] = []
    for folder in folders:
        again = judged_tests(folder, draft, sequence_revision)
        same = [some.folder for some in tests if some.file.about.origin == again.file.about.origin]
        if same:
            raise UsageError("two stores hold tests of the same log", where=f"{same[0]} and {folder}",
                             expected="each store once, as every motor would count twice", remedy="Name one of them.",
                             got=again.file.about.origin or "no log")
        tests.append(again)
    return tests


def outcome(tests: Sequence[Tests], span: Span) -> Outcome:
    """Return what became of the tests of several stores."""
    pairs, old, new = np.zeros((3, 3), int), np.zeros(2, int), np.zeros(2, int)
    for some in tests:
        rows = some.within(span)
        pairs += np.bincount(3 * some.old[rows].astype(int) + some.new[rows], minlength=9).reshape(3, 3)
        first = rows & some.first
        old += _passed_of(some.old[first])
        new += _passed_of(some.new[first])
    confusion = {(VERDICTS[before], VERDICTS[after]): int(pairs[before, after])
                 for before in range(3) for after in range(3)}
    return Outcome(span, int(pairs.sum()), confusion, _yields(old), _yields(new))


def flips(tests: Sequence[Tests], draft: LimitFile, span: Span) -> list[Flip]:
    """Return every test whose verdict the draft changes, oldest first in each store."""
    return [flip for some in tests for flip in _flips(some, draft, np.flatnonzero(
        some.within(span) & (some.old != some.new)))]


def warnings_of(tests: Sequence[Tests], found: Outcome) -> list[str]:
    """Return what is to be kept in mind about the tests themselves, in sentences."""
    said = []
    for some in tests:
        rows = some.within(found.span)
        said += [f"Limit file {sha256[:12]} was not kept: its tests are judged whole, and why they change is not told."
                 for sha256 in some.unknown]
        suspect = int((rows & some.file.read(("suspect",), range(some.file.groups))["suspect"].astype(bool)).sum())
        if suspect:
            said.append(f"{suspect} test(s) are in doubt, as a reference check after them failed; they are counted.")
        places, texts = some.file.texts("software", range(some.file.groups))
        versions = [text for k, text in enumerate(texts) if text and rows[places == k].any()]
        if len(versions) > 1:
            said.append(f"Tests by several versions of the software are mixed: {', '.join(sorted(versions))}.")
    undecided = sum(count for (old, new), count in found.confusion.items() if old != new == VERDICTS[NO_RESULT])
    if undecided:
        said.append(f"{undecided} test(s) have values missing that the draft asks for: they would have no result. "
                    "A sequence that stopped early tells nothing of what it did not measure.")
    if found.old.motors < ENOUGH:
        said.append(f"Only {found.old.motors} motors: first-pass yields are wide open, see their intervals.")
    return said


def changes_alone(found: Sequence[Flip]) -> dict[tuple[str, str, str], tuple[int, int]]:
    """Return of each entry and change of verdict how many flips it causes alone, and how many with others."""
    counted: dict[tuple[str, str, str], list[int]] = {}
    for flip in found:
        for key in flip.causes:
            counted.setdefault((key, flip.old, flip.new), [0, 0])[len(flip.causes) > 1] += 1
    return {key: (alone, together) for key, (alone, together) in
            sorted(counted.items(), key=lambda item: (-item[1][0], -item[1][1], item[0]))}


def _flips(some: Tests, draft: LimitFile, rows: NDArray[np.int64]) -> list[Flip]:
    if not rows.size:
        return []
    causes = causes_of(some.file, draft, some.in_force, rows, some.new[rows])
    of_run = some.file.frame(("seq", "serial", "run", "started")).take(rows).to_pylist()
    found = [(row["seq"], Flip(str(some.folder), row["serial"], row["run"],
                               row["started"].isoformat(timespec="milliseconds").replace("+00:00", "Z"),
                               VERDICTS[some.old[place]], VERDICTS[some.new[place]], keys,
                               bool(some.last[place] and some.old[place] == PASS)))
             for place, row, keys in zip(rows.tolist(), of_run, causes, strict=True)]
    return [flip for _, flip in sorted(found, key=lambda each: each[0])]


def _passed_of(codes: Results) -> NDArray[np.int64]:
    return np.array([(codes == PASS).sum(), (codes != NO_RESULT).sum()])


def _yields(counts: NDArray[np.int64]) -> Yields:
    passed, motors = (int(count) for count in counts)
    return Yields(passed, motors, proportion(passed, motors) if motors else None)


def _kept_limits(folder: Path, sha256: str) -> LimitFile | None:
    if not sha256 or not (folder / FILES / sha256).is_file():
        return None
    return parse_limits(parse_toml(kept_file(folder, sha256), f"limit file {sha256[:12]}"))


def _require_same_conventions(draft: LimitFile, limits: LimitFile) -> None:
    differing = [name for name in CONVENTIONS
                 if getattr(draft.motor_type, name) != getattr(limits.motor_type, name)]
    if differing:
        raise UsageError("the draft makes other values, not only other limits", where=draft.name,
                         expected=f"as in revision {limits.revision.number}, which was in force: "
                         + ", ".join(f"{name} {getattr(limits.motor_type, name)}" for name in differing),
                         got=", ".join(str(getattr(draft.motor_type, name)) for name in differing),
                         remedy="Stored values cannot be judged by it: test motors with it first.")
