"""station.certificate.renderer: whether a certificate made again can be the same, byte for byte."""

import hashlib
from importlib.metadata import version
from pathlib import Path

from station.certificate import fonts
from station.certificate.renderer import differing_versions, renderer_versions
from station.record.arithmetic import arithmetic_versions


def test_every_version_is_named():
    named = renderer_versions()
    assert named["reportlab"] == version("reportlab")
    assert named["pikepdf"] == version("pikepdf")
    assert {"qpdf", "segno", "zlib", "sRGB.icc"} <= set(named)
    folder = Path(fonts.__file__).with_name("fonts")
    shipped = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.glob("*.ttf")}
    assert shipped
    assert shipped.items() <= named.items()


def test_nothing_differs_today():
    assert differing_versions({"software": arithmetic_versions() | {"renderer": renderer_versions()}}) == {}


def test_what_differs_is_named_then_and_now():
    now = renderer_versions()
    then = arithmetic_versions() | {"station": "0.0.9", "renderer": now | {"reportlab": "4.0.0", "gone": "1"}}
    del then["renderer"]["segno"]
    assert differing_versions({"software": then}) == {
        "gone": ("1", ""), "reportlab": ("4.0.0", now["reportlab"]), "segno": ("", now["segno"]),
        "station": ("0.0.9", arithmetic_versions()["station"])}


def test_a_record_that_does_not_say_differs_in_everything():
    assert set(differing_versions({})) == set(renderer_versions()) | {"station", "station_sha256"}
