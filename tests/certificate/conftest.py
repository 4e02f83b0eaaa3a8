import importlib.util
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from station.certificate.render import render_certificate

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
