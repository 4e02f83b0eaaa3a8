import importlib.util
import subprocess
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from station.certificate.build import build_certificate
from station.certificate.key_folder import keep_station_key, new_private_key
from station.certificate.plant_authority import PlantAuthority
from station.certificate.render import render_certificate
from station.certificate.signing import Signer, sign_certificate
from station.clock import Clock
from station.record.evidence import Evidence
from station.record.merkle import leaf_hash
from station.record.record import canonical

HERE = Path(__file__).parent


LIMITS = HERE.parents[1] / "limits"
LOG = {"origin": "l2-eol1", "seq": 1_234_567, "previous_leaf": "5a" * 32}
MOTORS = {"CP-40": {}, "CP-60D": {"motor_type": {
    "name": "CP-60D", "pole_pairs": 5, "winding": "delta", "rated_voltage_V": 48.0, "forward": "clockwise",
    "viewed_from": "drive end", "spacing_deg": 60}}}


def _load(name):
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def sample():
    return _load("sample_record")


@pytest.fixture(scope="session")
def printed():
    return _load("printed_words")


@pytest.fixture
def record(sample):
    return sample.sample_record((LIMITS / "CP-40.toml").read_bytes())


@pytest.fixture(scope="session", params=["CP-40 good", "CP-40 bad", "CP-60D good", "CP-60D bad", "CP-40 uneven"])
def full_record(request, sample):
    """As full as the record of an ordinary test with four captures, on the simulated bench."""
    name, state = request.param.split()
    make = sample.sample_record if state == "good" else sample.bad_record
    record = make((LIMITS / f"{name}.toml").read_bytes(), **MOTORS[name])
    if state == "uneven":
        record = sample.with_uneven_acceptance(record)
    return record | {"bench": record["bench"] | {"simulated": True, "pace": 10.0}, "log": LOG}


@pytest.fixture(scope="session")
def full_pdf(full_record):
    return render_certificate(full_record)


@pytest.fixture(scope="session")
def full_words(full_pdf, printed, tmp_path_factory):
    return printed.words_of(full_pdf, tmp_path_factory.mktemp("full"))


@pytest.fixture
def pages():
    """Render a record and return the text of each page."""
    return lambda record: [page.extract_text() for page in PdfReader(BytesIO(render_certificate(record))).pages]


NOW = datetime(2026, 11, 25, 8, 15, 0, tzinfo=UTC)


def _clock_after(passed=timedelta(0), zone=UTC):
    """Return a clock that stands still, so long after the day on which the keys were made."""
    return Clock(lambda: (NOW + passed).astimezone(zone), lambda: 0.0, lambda _seconds: None)


@pytest.fixture(scope="session")
def clock_after():
    return _clock_after


@pytest.fixture(scope="session")
def evidence(sample):
    """A record as the second entry of its log, proven by the hash of the first."""
    content = canonical(sample.sample_record((LIMITS / "CP-40.toml").read_bytes()) | {"log": LOG | {"seq": 1}})
    return Evidence(content, LOG["origin"], 1, leaf_hash(content), 2, (b"\x5a" * 32,), "l2-eol1\n2\n...\n")


@pytest.fixture(scope="session")
def built(evidence):
    return build_certificate(evidence)


@pytest.fixture(scope="session")
def plant(tmp_path_factory):
    """A plant's authority, and a station with a key that it has certified."""
    folder = tmp_path_factory.mktemp("plant")
    authority = PlantAuthority.make(folder / "authority", "Varnholt Works", _clock_after())
    private = new_private_key()
    issued = authority.issue("EOL-1", private.public_key(), _clock_after())
    keep_station_key(folder / "keys", private, (issued, authority.certificate))
    return folder


@pytest.fixture(scope="session")
def signer(plant):
    return Signer.load(plant / "keys", _clock_after())


@pytest.fixture(scope="session")
def signed(built, signer):
    return sign_certificate(built, signer)


@pytest.fixture(scope="session")
def pdfsig(plant, tmp_path_factory):
    """Let poppler and NSS look at a certificate, the plant's root being all that they trust; return what they say."""
    folder = tmp_path_factory.mktemp("nss")
    for words in (["-N", "--empty-password"],
                  ["-A", "-n", "plant", "-t", "C,C,C", "-i", str(plant / "authority" / "plant-ca.pem")]):
        subprocess.run(["certutil", *words[:1], "-d", str(folder), *words[1:]], check=True)

    def look(pdf, trusting=folder):
        path = folder / "looked-at.pdf"
        path.write_bytes(pdf)
        return subprocess.run(["pdfsig", "-nssdir", str(trusting), str(path)], capture_output=True, text=True,
                              check=False).stdout
    return look
