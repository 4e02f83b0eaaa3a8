"""What a record says of its software can be found out again with the tools of any computer."""

import hashlib
from importlib.metadata import version
from pathlib import Path

import station
from station.sequence.software import software


def test_versions_and_fonts_are_those_installed():
    told = software()
    assert told["renderer"]["reportlab"] == version("reportlab")
    assert told["numpy"] == version("numpy")
    fonts = Path(station.__file__).parent / "certificate" / "fonts"
    for path in fonts.glob("*.ttf"):
        assert told["renderer"][path.name] == hashlib.sha256(path.read_bytes()).hexdigest()
    assert told["blas"]
