"""A checkpoint is read exactly as it was written, or not at all."""

import base64

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from station.errors import EvidenceError
from station.record.checkpoint import Checkpoint, open_checkpoint, origin_of, parse_checkpoint
from station.record.log_key import LogKey
from station.record.merkle import EMPTY_ROOT
from station.record.signed_note import is_name

ROOT = base64.b64encode(EMPTY_ROOT).decode()


@given(st.integers(0, 10**17), st.binary(min_size=32, max_size=32))
def test_what_is_written_is_read(size, root):
    checkpoint = Checkpoint("varnholt-1", size, root)
    assert parse_checkpoint(checkpoint.text(), "here") == checkpoint


@pytest.mark.parametrize("text", [
    "", "a\n", f"a\n1\n{ROOT}", f"\n1\n{ROOT}\n", f"a\n01\n{ROOT}\n", f"a\n-1\n{ROOT}\n", f"a\n1.0\n{ROOT}\n",
    f"a\n\n{ROOT}\n", "a\n1\nAAAA\n", f"a\n1\n{ROOT[:-1]}\n", f"a\n1\n{ROOT}=\n", f"a\n1\n{ROOT}\n\n",
    f"a\n1\n {ROOT}\n", f"a\n١\n{ROOT}\n", f"a\n1\n{ROOT[:-2]}V=\n"])
def test_what_is_no_checkpoint_is_refused(text):
    with pytest.raises(EvidenceError, match="not a checkpoint"):
        parse_checkpoint(text, "here")


def test_further_lines_are_passed_over():
    assert parse_checkpoint(f"a\n1\n{ROOT}\nmore\n", "here") == Checkpoint("a", 1, EMPTY_ROOT)


def test_a_signed_checkpoint_is_opened_by_its_key_alone():
    key, other = (LogKey("varnholt-1", Ed25519PrivateKey.generate()) for _ in range(2))
    checkpoint = Checkpoint("varnholt-1", 7, EMPTY_ROOT)
    note = key.sign(checkpoint.text())
    assert open_checkpoint(note, [other.verifier, key.verifier], "here") == checkpoint
    with pytest.raises(EvidenceError, match="signed by no known key"):
        open_checkpoint(note, [other.verifier], "here")


@pytest.mark.parametrize(("station", "origin"), [
    ("Varnholt 1", "varnholt-1"), ("  EOL  Line\t3 ", "eol-line-3"), ("A+B", "a-b"), ("", "station"), ("+", "-")])
def test_the_name_of_a_log(station, origin):
    assert origin_of(station) == origin
    assert is_name(origin)
