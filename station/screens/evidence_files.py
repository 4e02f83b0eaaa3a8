"""What an auditor takes away: certificate, record, proof, captures and files in force, singly or all in one."""

import io
import zipfile
from collections.abc import Callable
from functools import partial
from hashlib import sha256
from itertools import count
from pathlib import Path, PurePath
from urllib.parse import quote

from starlette.responses import Response

from station.audit import check_certificate
from station.certificate.issue import certificate_path
from station.errors import EvidenceError, UsageError
from station.record.export import WideTable, as_csv
from station.record.kept_files import kept_file
from station.record.store import Store
from station.record.stored_file import read_stored
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.tests_page import Record, record_of

ALL = "everything.zip"
KINDS = {".pdf": "application/pdf", ".json": "application/json", ".csv": "text/csv; charset=utf-8",
         ".zip": "application/zip"}
VERIFY = """What is here proves a motor test. It takes only common tools; both keys must come from the plant itself.

  sha256sum -c SHA256SUMS
  python check_certificate.py certificate.pdf plant-ca.pem log.pub

record.json is the record as it was stored, byte for byte; proof.json the proof that the log of the station holds it.
The hashes of captures, transcript and files in force stand in record.json.
"""
_DAY = (1980, 1, 1, 0, 0, 0)        # of every file in an archive, so that the same test gives the same bytes
Files = dict[str, Callable[[], bytes]]


def _send(ask: Ask) -> Response:
    """Answer with a file, to be kept and not shown."""
    record, name = record_of(ask), ask.path("name")
    with ask.site.store() as store:
        files = _files(store, record)
        if name != ALL and name not in files:
            raise UsageError("no such file of this test", where=record["serial"], expected=", ".join([*files, ALL]),
                             got=name[:80], remedy="Follow a link of the record's page.")
        content = _everything(files) if name == ALL else files[name]()
    ask.site.trail.add(ask.name, "export", where=ask.where, about=f"{record['serial']} run {record['run']}, {name}")
    called = f"{record['serial']}-run{record['run']}-{name}"
    # RFC 6266, with the form for any characters of RFC 8187.
    headers = {"content-disposition": f"attachment; filename*=UTF-8''{quote(called, safe='')}"}
    return Response(content, media_type=KINDS.get(PurePath(name).suffix, "application/octet-stream"), headers=headers)


def names_of(ask: Ask, record: Record) -> list[str]:
    """Return the names of everything that can be taken away of a test."""
    with ask.site.store() as store:
        return [*_files(store, record), ALL]


def _files(store: Store, record: Record) -> Files:
    """Return what gives the bytes of each file, checked against its hash, by its name."""
    files: Files = {}
    for issue in count(1):
        path = certificate_path(store.folder, record, issue)
        if not path.is_file():
            break
        files["certificate.pdf" if issue == 1 else f"certificate-issue{issue}.pdf"] = path.read_bytes
    files["record.json"] = lambda: store.evidence(record).record_bytes
    files["proof.json"] = lambda: store.evidence(record).as_json()
    files["values.csv"] = partial(_table, record)
    for number, entry in enumerate(record["captures"], 1):
        files[f"capture-{number}{PurePath(entry['file']).suffix}"] = partial(_stored, store, entry)
    if record.get("transcript"):
        files[f"transcript{PurePath(record['transcript']['file']).suffix}"] = partial(
            _stored, store, record["transcript"])
    for kind in ("limit_file", "sequence", "bench"):
        files[f"{kind.replace('_', '-')}.toml"] = partial(kept_file, store.folder, record[kind]["sha256"])
    return files


def _stored(store: Store, entry: Record) -> bytes:
    return read_stored(store.folder, entry, lambda: store.statements("retention"))


def _table(record: Record) -> bytes:
    table = WideTable()
    table.add(dict(record))
    return as_csv(list(table.columns(with_u=True, with_dof=True)))


def _everything(files: Files) -> bytes:
    """Return an archive of all that is there; what cannot be had, or was altered, is told in it."""
    contents, missing = {}, []
    for name, give in files.items():
        try:
            contents[name] = give()
        except EvidenceError as error:
            missing.append(f"{name}: {error.what} ({error.got})")
    contents["check_certificate.py"] = Path(check_certificate.__file__).read_bytes()
    contents["VERIFY.txt"] = (VERIFY + "".join(f"\nNot here: {line}\n" for line in missing)).encode()
    sums = "".join(f"{sha256(content).hexdigest()}  {name}\n" for name, content in contents.items())
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in {**contents, "SHA256SUMS": sums.encode()}.items():
            archive.writestr(zipfile.ZipInfo(name, _DAY), content, zipfile.ZIP_DEFLATED)
    return sink.getvalue()


PAGES = (Page("/evidence/{serial}/{run}/files/{name}", Duty.READ, _send),)
