"""What evidence and signature add to a certificate, against the bare rendering of the same pages in the same run.

Times are those of the processor, so that other work at the machine does not count.
"""

import argparse
import importlib.util
import sys
import tempfile
from pathlib import Path
from time import process_time

import numpy as np
from figures import Figure, print_figures

from station.certificate import render
from station.certificate.build import build_certificate
from station.certificate.key_folder import keep_station_key, new_private_key
from station.certificate.plant_authority import PlantAuthority
from station.certificate.signing import Signer, sign_certificate
from station.clock import system_clock
from station.record.log_key import LogKey
from station.record.record import canonical
from station.record.store import Store

TESTS = Path(__file__).parents[1]
SOURCES = ("zero crossing", "noise", "gain", "offset", "speed", "repeatability")


def full_record():
    """Return a record as large as those of the demo: every measurement with its budget."""
    spec = importlib.util.spec_from_file_location("sample_record", TESTS / "certificate" / "sample_record.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    record = module.sample_record((TESTS.parent / "limits" / "CP-40.toml").read_bytes())
    measured = [m | {"budget": [{"source": source, "kind": "B", "distribution": "normal", "u": m["u"] / (n + 2),
                                 "dof": 50.0, "shared": ""} for n, source in enumerate(SOURCES)]}
                for m in record["measurements"]]
    return record | {"measurements": measured, "captures": []}


def workshop(folder):
    """Return a store with that record as the last of 100 entries, the record, and a signer."""
    clock = system_clock()
    authority = PlantAuthority.make(folder / "authority", "Varnholt Works", clock)
    private = new_private_key()
    keep_station_key(folder / "keys", private,
                     (authority.issue("EOL-1", private.public_key(), clock), authority.certificate))
    store = Store(folder / "store", log_key=LogKey.make(folder / "keys", "eol-1"), origin="eol-1")
    record = full_record()
    for number in range(100):
        serial = f"CP40-{number:04d}"
        run_id = store.begin(serial, started=record["started"])
        stored = store.finish(run_id, record | {"serial": serial}, [])
    return store, stored, Signer.load(folder / "keys", clock)


def drawing(record):
    """Return what draws the pages of `record` and nothing else: rows sorted, hash known, spacing found."""
    body = canonical(record)
    content = render._content(record, body)
    pages, air = render._layout(content)
    return lambda: render._draw(content, pages, air)


def times_of(jobs, repeats):
    """Return the processor's seconds of each job, `repeats` times, taken in turns."""
    times = {name: [] for name in jobs}
    rng = np.random.default_rng(1)
    for _ in range(repeats):
        for name in rng.permutation(list(jobs)):
            start = process_time()
            jobs[name]()
            times[name].append(process_time() - start)
    return times


def measure(repeats):
    """Return the figures."""
    with tempfile.TemporaryDirectory() as name:
        store, record, signer = workshop(Path(name))
        evidence = store.evidence(record)
        unsigned = build_certificate(evidence)
        sign_certificate(unsigned, signer)      # the library is imported once
        body, once = canonical(record), drawing(record)
        times = times_of({
            "bare": lambda: render.render_pages(record, body), "drawing": once,
            "evidence": lambda: store.evidence(record), "built": lambda: build_certificate(evidence),
            "signature": lambda: sign_certificate(unsigned, signer),
            "built and signed": lambda: sign_certificate(build_certificate(evidence), signer)}, repeats)
        store.close()
    bare = min(times["bare"])
    drawn = Figure("rendered, embedded and signed / drawing those pages once, laid out already",
                   min(times["built and signed"]) / min(times["drawing"]),
                   _scatter(times["drawing"], times["built and signed"]))
    print(f"  a bare rendering takes {1e3 * bare:.0f} ms, the record has {len(evidence.record_bytes) / 1e3:.0f} kB, "
          f"the signed certificate {len(sign_certificate(unsigned, signer)) / 1e3:.0f} kB")
    most = {"built and signed": 2.0}
    names = {"evidence": "proof from the log", "built": "rendered and embedded", "signature": "signature alone",
             "built and signed": "rendered, embedded and signed"}
    return [Figure(f"{words} / bare rendering", min(times[job]) / bare, _scatter(times["bare"], times[job]),
                   most=most.get(job)) for job, words in names.items()] + [drawn]


def _scatter(bare, own, parts=4):
    """Return the standard error of the ratio of least times, from as many parts of the run by themselves."""
    pairs = zip(np.array_split(bare, parts), np.array_split(own, parts), strict=True)
    found = [b.min() / o.min() for o, b in pairs if o.size and b.size]
    return float(np.std(found, ddof=1) / np.sqrt(len(found))) if len(found) > 1 else 0.0


def main(arguments=None):
    """Print the table; return 1 if a figure is not met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=20, help="certificates of each kind")
    trials = parser.parse_args(arguments).trials
    print("\nCertificates, ratios within one run")
    return print_figures("against the bare rendering", measure(trials))


if __name__ == "__main__":
    sys.exit(main())
