"""One flipped bit in every kind of file of a store: reading says so, or it has no effect; never wrong data as right.

What SQLite leaves out without a word, the end of a damaged WAL, is found against a head of the log kept elsewhere.
A run that was begun and has no record yet is in no log, so that such a flip may lose or change it: "begun only".
"""

import argparse
import random
import shutil
import sys
from collections import Counter
from pathlib import Path

from figures import Figure, print_figures
from store_writer import KEY, SERIAL, STARTED, open_store, record_of, write_runs
from survivors import Told, scratch

from station.audit.check_certificate import UNREADABLE, DoubtError, check
from station.certificate.issue import issue_certificate
from station.certificate.key_folder import AUTHORITY_FILE
from station.certificate.signing import Signer
from station.cli.setup import write_folder
from station.cli.workplace import open_workplace
from station.errors import StationError
from station.record.checkpoint import open_checkpoint
from station.record.kept_files import kept_file
from station.record.log_check import body_faults, count_faults, head_faults, tree_faults
from station.record.log_key import PUBLIC_FILE, load_verifier
from station.record.merkle import verify_consistency
from station.record.schema import DATABASE
from station.record.store import Store
from station.sequence.progress import unwatched
from station.sequence.station_file import load_station

RUNS = 10
FLIPS = 400     # of each kind
KINDS = {"database": DATABASE, "WAL": f"{DATABASE}-wal", "capture": "captures/*.parquet",
         "transcript": "captures/*.zst", "file in force": "files/*"}
OUTCOMES = ("noticed", "no effect", "begun only", "wrong", "unsaid")


def written(folder, *, closed=False):
    """Write a store into `folder`, its last run still in the WAL unless it is `closed`; return what was told of it."""
    told, source = Told(), folder.with_name(f"{folder.name}-open")
    write_runs(source, told.hear, RUNS)
    with open_store(source) as store:
        store.add_statement("correction", {"what": "note", "reason": "label was smeared"})
        run_id = store.begin(SERIAL, started=STARTED)
        store.finish(run_id, {**record_of("0" * 64), "captures": [], "limit_file": {"sha256": ""}}, [])
        head = store.log.head()
        told.head = head.size, head.root
        store.begin("CP40-0002", started=STARTED)
        shutil.copytree(source, folder)     # as a power cut leaves it: closing would empty the WAL
    shutil.rmtree(source)
    if closed:
        open_store(folder).close()      # the WAL goes into the database
    return told


def look(folder, told):
    """Return everything that the store says, checked as an audit checks it; a StationError for what does not hold."""
    with Store(folder, read_only=True) as store:
        records = store.find()
        said = [records, store.show(SERIAL), store.find(motor_type=""), store.find(serial=SERIAL, verdict="PASS"),
                store.find(since=STARTED, until=STARTED), store.reference_checks(), store.statements("correction"),
                store.suspects(), store.count_yield(), store.attempts(SERIAL)]
        files = [[codes.tobytes() for one in store.captures(record) for codes in one.codes.values()]
                 for record in records]
        heard = [store.transcript(record) for record in records]
        kept = [kept_file(folder, sha256) for record in records if (sha256 := record["limit_file"]["sha256"])]
        _require_log(store.log, told)
        evidence = [store.evidence(record) for record in records]
        return [said, files, heard, kept, evidence], store.unfinished()


def _require_log(log, told):
    for faults in (count_faults(log.connection), body_faults(log.entries(), log.origin), tree_faults(log),
                   head_faults(log, [KEY.verifier])):
        for fault in faults:
            raise fault.as_error(log.origin)
    size, root = told.head
    if len(log) < size or not verify_consistency(size, len(log), root, log.head().root,
                                                 log.consistency(size, len(log))):
        raise StationError("the log is not what was told", where="log", expected=size, got=len(log), remedy="Ask.")


def flipped(folder, pattern, flips, drawn, told):
    """Flip one bit after another in files like `pattern` and put it right again; yield what came of each."""
    right = look(folder, told)
    files = sorted(folder.glob(pattern))
    for _ in range(flips):
        file = drawn.choice(files)
        content = file.read_bytes()
        place = drawn.randrange(8 * len(content))
        with _left_as_it_was(folder):
            bad = bytearray(content)
            bad[place // 8] ^= 1 << place % 8
            file.write_bytes(bad)
            yield (file.name, place), _outcome(folder, told, right)
            file.write_bytes(content)


class _left_as_it_was:  # noqa: N801 - read as a phrase
    """Remove what reading leaves beside the database."""

    def __init__(self, folder):
        self.folder, self.before = folder, set(folder.iterdir())

    def __enter__(self):
        return self

    def __exit__(self, *error):
        for made in set(self.folder.iterdir()) - self.before:
            made.unlink()


def _outcome(folder, told, right):
    try:
        found = look(folder, told)
    except StationError:
        return "noticed"
    except Exception as error:      # noticed, but not in words for a person
        return f"unsaid: {type(error).__name__}: {error}"
    if found == right:
        return "no effect"
    return "begun only" if found[0] == right[0] else "wrong"


def papers(folder):
    """Test a motor; return what leaves the station, by kind: its bytes, and a function that reads and checks them.

    A certificate is read by the checker that outsiders use, a checkpoint by its signature.
    """
    write_folder(folder, pace=100.0, free_ports=True)
    station = load_station(folder / "station.toml")
    with open_workplace(station, "K. Lind") as place:
        record = place.test("CP40-0001", unwatched).record
        paper = issue_certificate(place.store, record, Signer.load(station.keys)).read_bytes()
        note = place.store.log.checkpoint(1).encode()
    authority, key = (station.keys / AUTHORITY_FILE).read_bytes(), (station.keys / PUBLIC_FILE).read_text()
    known = load_verifier(station.keys / PUBLIC_FILE)
    return {"certificate": (paper, lambda content: list(check(content, authority, key))),
            "checkpoint": (note, lambda content: open_checkpoint(content.decode(), [known], "note"))}


def flipped_paper(content, read, flips, drawn):
    """Flip one bit after another; yield what came of each."""
    right = read(content)
    for _ in range(flips):
        place = drawn.randrange(8 * len(content))
        bad = bytearray(content)
        bad[place // 8] ^= 1 << place % 8
        try:
            yield place, "no effect" if read(bytes(bad)) == right else "wrong"
        except (StationError, DoubtError, *UNREADABLE):
            yield place, "noticed"


def survey(flips, seed=1):
    """Return by kind of file how often what came of a flip, and whatever must not have come."""
    counted, bad, drawn = {kind: Counter() for kind in KINDS}, [], random.Random(seed)
    with scratch() as home:
        for kind, pattern in KINDS.items():
            folder = Path(home) / kind
            told = written(folder, closed=kind != "WAL")
            for where, outcome in flipped(folder, pattern, flips, drawn, told):
                counted[kind][outcome.partition(":")[0]] += 1
                if outcome.partition(":")[0] in ("wrong", "unsaid"):
                    bad.append((kind, where, outcome))
        for kind, (content, read) in papers(Path(home) / "line").items():
            counted[kind] = Counter()
            for where, outcome in flipped_paper(content, read, flips, drawn):
                counted[kind][outcome] += 1
                bad += [(kind, where, outcome)] if outcome == "wrong" else []
    return counted, bad


def main(arguments=None):
    """Print the table; 0 only if no flip made wrong data pass for right."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--flips", type=int, default=FLIPS)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    counted, bad = survey(asked.flips, asked.seed)
    print(f"{'kind of file':<16}" + "".join(f"{word:>11}" for word in ("flips", *OUTCOMES)))
    for kind, row in counted.items():
        print(f"{kind:<16}" + "".join(f"{count:>11}" for count in (row.total(), *(row[word] for word in OUTCOMES))))
    for each in bad:
        print(" ", *each)
    return print_figures(f"{asked.flips} flipped bits in each kind of file", [
        Figure("wrong data as right", sum(row["wrong"] for row in counted.values()), most=0),
        Figure("noticed, but not in words for a person", sum(row["unsaid"] for row in counted.values()), most=0),
        *(Figure(f"noticed in a {kind}", counted[kind]["noticed"] / asked.flips, least=1.0)
          for kind in ("capture", "transcript", "file in force", "checkpoint")),
    ])


if __name__ == "__main__":
    sys.exit(main())
