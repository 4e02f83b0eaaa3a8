"""Motors whose signals are taken in two captures, from the first command to the certificate."""

import json
from io import BytesIO

import pytest
from pypdf import PdfReader

from station.cli.setup import DigitizerKind, write_folder
from station.exit_code import ExitCode


@pytest.fixture(params=[DigitizerKind.FOUR_CHANNELS, DigitizerKind.TWO_INSTRUMENTS])
def folder(request, tmp_path):
    write_folder(tmp_path / "line", pace=20.0, free_ports=True, digitizers=request.param)
    return tmp_path / "line"


def test_a_good_and_a_bad_motor_get_their_verdicts_and_a_certificate_that_says_stitched(folder, command):
    station = folder / "station.toml"
    assert command("test", "CP40-0001", "--station", station)[0] == ExitCode.PASS
    code, out, _ = command("test", "CP40-0002", "--station", station)
    assert code == ExitCode.FAIL
    assert "Hall sensor B" in out

    record = json.loads(command("records", "show", "CP40-0001", "--station", station, "--json")[1])
    assert [c["part"] for c in record["captures"]] == [[1, 2], [2, 2]] * 4
    assert [c["label"] for c in record["captures"][::2]] == [c["label"] for c in record["captures"][1::2]]
    budget = next(m for m in record["measurements"] if m["name"] == "hall_placement.b")["budget"]
    assert "stitching" in {row["source"] for row in budget}

    pdf = (folder / "store" / "certificates" / "CP40-0001-run1.pdf").read_bytes()
    words = " ".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages)
    assert "(stitched, 2 captures)" in " ".join(words.split())

    _recomputed(record, folder, command)


def test_a_rotor_with_a_reversed_magnet_fails_for_that_reason(folder, command):
    code, out, _ = command("test", "CP40-0102", "--station", folder / "station.toml")
    assert code == ExitCode.FAIL, out
    assert "one magnet of the rotor or sensor ring is reversed or absent" in " ".join(out.split())


def _recomputed(record, folder, command):
    """The same waveforms give the same numbers, to the last digit, in whatever order their files are named."""
    files = [folder / "store" / c["file"] for c in record["captures"]]
    code, out, _ = command("analyse", *reversed(files), "--limits", folder / "limits" / "CP-40.toml", "--json")
    assert code == 0
    objects = [json.loads(line) for line in out.splitlines()]
    assert len(objects) == 4
    stored = {(m["label"], m["name"]): m["value"] for m in record["measurements"]}
    labels = {str(file): c["label"] for file, c in zip(files, record["captures"], strict=True)}
    for found in objects:
        label, = {labels[file] for file in found["files"]}
        assert found["refused"] is None
        for name in ("hall_placement.b", "back_emf_constant_peak.ab", "commutated_torque_constant"):
            assert found["measurements"][name]["value"] == stored[label, name]


def test_one_part_alone_is_refused(folder, command):
    station = folder / "station.toml"
    assert command("test", "CP40-0001", "--station", station)[0] == ExitCode.PASS
    part = next((folder / "store").rglob("*-1-*.parquet"))
    code, out, _ = command("analyse", part, "--limits", folder / "limits" / "CP-40.toml")
    assert code == ExitCode.NO_RESULT
    assert "1 of 2 captures" in out
