"""Every motor of the demo lot gets the verdict and the finding that its defect deserves."""

import numpy as np
import pandas as pd
import pytest
from pypdf import PdfReader

from station.certificate.build import build_certificate
from station.cli import demo
from station.cli.workplace import open_workplace
from station.record.record_schema import check_record
from station.record.store import Store
from station.sequence.progress import unwatched
from station.sequence.station_file import load_station

# What each motor of the lot deserves: its verdict and the code of its finding.
DESERVED = {
    "CP40-0001": ("PASS", None),
    "CP40-0002": ("FAIL", "hall_sensor_displaced"),
    "CP40-0003": ("PASS", None),
    "CP40-0004": ("FAIL", "shorted_turns"),
    "VB24-0001": ("PASS", None),
    "VB24-0002": ("FAIL", "hall_leads_exchanged"),
    "VB24-0003": ("FAIL", "weak_magnets"),
    "CP60-0001": ("PASS", None),
    "CP60-0002": ("FAIL", "motor_leads_exchanged"),
    "CP60-0003": ("FAIL", "insulation_low"),
}


@pytest.fixture(scope="module")
def lot(tmp_path_factory):
    """The demo, run once: its folder and its stored records by serial."""
    folder = tmp_path_factory.mktemp("demo") / "out"
    assert demo.demo(folder, pace=20.0) == 0
    with Store(folder / "store", read_only=True) as store:
        return folder, {record["serial"]: record for record in store.find() if record["serial"] in demo.LOT}


def test_the_lot_is_the_one_described(lot):
    assert set(lot[1]) == set(DESERVED) == set(demo.LOT)


@pytest.mark.parametrize("serial", DESERVED)
def test_verdict_and_finding(lot, serial):
    record = lot[1][serial]
    verdict, finding = DESERVED[serial]
    codes = [found["code"] for found in record["findings"]]
    assert record["verdict"] == verdict, record["reason"]
    assert codes[:1] == ([finding] if finding else []), record["findings"]


@pytest.mark.parametrize("serial", DESERVED)
def test_the_certificate_kept_is_the_one_the_record_gives(lot, serial):
    folder, records = lot
    kept = folder / "store" / "certificates" / f"{serial}-run1.pdf"
    with Store(folder / "store", read_only=True) as store:
        unsigned = build_certificate(store.evidence(records[serial]))
    assert kept.read_bytes().startswith(unsigned)
    assert kept.stat().st_size > len(unsigned)      # by its signature
    assert len(PdfReader(kept).pages) == 2


def test_every_record_keeps_to_the_schema(lot):
    for record in lot[1].values():
        check_record(record)


def test_captures_take_a_quarter_of_their_codes_and_open_with_plain_pandas(lot):
    """1.8 codes of noise hold 2.9 of 16 bits, so that nothing could be more than 5.5 times as small."""
    folder, records = lot
    paths = [folder / "store" / entry["file"] for record in records.values() for entry in record["captures"]]
    raw = sum(pd.read_parquet(path).to_numpy(np.int16).nbytes for path in paths)
    assert len(paths) == 36
    assert raw / sum(path.stat().st_size for path in paths) >= 4


def test_every_measurement_has_unit_and_uncertainty(lot):
    for record in lot[1].values():
        for measured in record["measurements"]:
            assert measured["unit"]
            assert measured["u"] is not None, measured["name"]
            assert measured["u"] >= 0


def test_a_sensor_ring_out_of_centre_fails_though_every_mean_is_in_place(lot):
    folder, _ = lot
    station = load_station(folder / "station.toml")
    with open_workplace(station, "tester") as place:
        record = place.test("CP40-0113", unwatched).record
    failed = {row["name"].split(".")[0] for row in record["judged"] if row["result"] == "FAIL"}
    assert record["verdict"] == "FAIL"
    assert failed == {"hall_eccentricity"}
    assert record["findings"][0]["code"] == "eccentric_sensor_ring"
