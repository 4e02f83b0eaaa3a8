"""Keys are made once, kept for their owner, and refused when their two halves do not belong together."""

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, Encoding, NoEncryption, PrivateFormat

from station.errors import EvidenceError, UsageError
from station.record.cosignature import WitnessKey, load_witness
from station.record.log_key import PRIVATE_FILE, PUBLIC_FILE, LogKey, load_verifier


@pytest.fixture
def key(tmp_path):
    return LogKey.make(tmp_path / "keys", "eol-1")


def test_a_key_is_loaded_as_it_was_made(tmp_path, key):
    loaded = LogKey.load(tmp_path / "keys")
    assert loaded.verifier == key.verifier == load_verifier(tmp_path / "keys" / PUBLIC_FILE)
    assert loaded.sign("text\n") == key.sign("text\n")
    assert (tmp_path / "keys" / PRIVATE_FILE).stat().st_mode & 0o777 == 0o600
    assert (tmp_path / "keys" / PUBLIC_FILE).read_text(encoding="utf-8") == f"{key.verifier}\n"


def test_a_key_is_made_once(tmp_path, key):
    with pytest.raises(UsageError, match="a key already"):
        LogKey.make(tmp_path / "keys", "eol-1")
    assert LogKey.load(tmp_path / "keys").verifier == key.verifier


def test_a_key_without_a_name_is_not_made(tmp_path):
    with pytest.raises(UsageError, match="no name for a key"):
        LogKey.make(tmp_path / "keys", "eol 1")
    assert not (tmp_path / "keys").exists()


def test_half_a_pair_is_told(tmp_path, key):
    (tmp_path / "keys" / PUBLIC_FILE).unlink()
    with pytest.raises(UsageError, match="public key cannot be read"):
        LogKey.load(tmp_path / "keys")
    (tmp_path / "keys" / PRIVATE_FILE).unlink()
    with pytest.raises(UsageError, match="key cannot be read"):
        LogKey.load(tmp_path / "keys")


def test_an_exchanged_half_is_told(tmp_path, key):
    other = LogKey.make(tmp_path / "other", "eol-1")
    (tmp_path / "keys" / PUBLIC_FILE).write_text(str(other.verifier), encoding="utf-8")
    with pytest.raises(EvidenceError, match="two halves of the key differ"):
        LogKey.load(tmp_path / "keys")


def test_a_key_that_others_can_read_is_refused(tmp_path, key):
    (tmp_path / "keys" / PRIVATE_FILE).chmod(0o644)
    with pytest.raises(EvidenceError, match="others may read"):
        LogKey.load(tmp_path / "keys")


def elliptic(encryption):
    return ec.generate_private_key(ec.SECP256R1()).private_bytes(Encoding.PEM, PrivateFormat.PKCS8, encryption)


@pytest.mark.parametrize("content", [
    b"", b"no key", elliptic(NoEncryption()), elliptic(BestAvailableEncryption(b"secret"))])
def test_another_kind_of_key_is_told(tmp_path, key, content):
    path = tmp_path / "keys" / PRIVATE_FILE
    path.write_bytes(content)
    with pytest.raises(UsageError, match=r"key (cannot be read|is of another kind)"):
        LogKey.load(tmp_path / "keys")


def test_a_key_of_a_witness_is_none_of_a_log(tmp_path):
    witness = WitnessKey.make(tmp_path, "witness-1")
    assert WitnessKey.load(tmp_path).verifier == witness.verifier == load_witness(tmp_path / "witness.pub")
    with pytest.raises(UsageError, match="not the text of a public key"):
        load_verifier(tmp_path / "witness.pub")
