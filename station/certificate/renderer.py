"""Which programs and files the bytes of a certificate depend on beside its record, and how those of today differ."""

import hashlib
import zlib
from collections.abc import Mapping
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from typing import Any

from station.certificate.archival_form import profile, writer_versions
from station.record.arithmetic import arithmetic_versions

PAGES = ("reportlab", "segno")              # what draws; `archival_form` knows what writes the file
PROGRAM = ("station", "station_sha256")     # the layout is this program's own


def renderer_versions() -> dict[str, str]:
    """Return the version, or the SHA-256 of a shipped file, by name; goes into `software.renderer` of each record."""
    return dict(_versions())


def differing_versions(record: Mapping[str, Any]) -> dict[str, tuple[str, str]]:
    """Return what made the certificate of `record` otherwise than today: name, version then, version now.

    Where nothing differs, rendering the record again gives the same bytes. What the record does not say is "".
    """
    software, today = record.get("software") or {}, arithmetic_versions()
    then = dict(software.get("renderer") or {}) | {name: software.get(name) for name in PROGRAM}
    now = renderer_versions() | {name: today[name] for name in PROGRAM}
    return {name: (str(then.get(name) or ""), now.get(name, "")) for name in sorted(now | then)
            if then.get(name) != now.get(name)}


@cache
def _versions() -> dict[str, str]:
    shipped = {"sRGB.icc": hashlib.sha256(profile()).hexdigest()}
    for font in files("station.certificate").joinpath("fonts").iterdir():
        if font.name.endswith(".ttf"):
            shipped[font.name] = hashlib.sha256(font.read_bytes()).hexdigest()
    libraries = {name: version(name) for name in PAGES} | writer_versions() | {"zlib": zlib.ZLIB_RUNTIME_VERSION}
    return dict(sorted((libraries | shipped).items()))
