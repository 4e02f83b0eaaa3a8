import importlib.util
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from station.certificate.render import render_certificate

HERE = Path(__file__).parent


def _load_sample():
    spec = importlib.util.spec_from_file_location("sample_record", HERE / "sample_record.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def sample():
    return _load_sample()


@pytest.fixture
def record(sample):
    return sample.sample_record((HERE.parents[1] / "limits" / "CP-40.toml").read_bytes())


@pytest.fixture
def pages():
    """Render a record and return the text of each page."""
    return lambda record: [page.extract_text() for page in PdfReader(BytesIO(render_certificate(record))).pages]
