"""station.certificate.key_folder, pkcs12_file and plant_authority: keys that fit are kept, all others are refused."""

import shutil
import stat
import subprocess
from datetime import UTC, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PrivateFormat,
    pkcs12,
)

from station.certificate.key_folder import (
    AUTHORITY_FILE,
    CERTIFICATE_FILE,
    KEY_FILE,
    keep_station_key,
    load_certificates,
    load_station_key,
    new_private_key,
    parse_private_key,
)
from station.certificate.pkcs12_file import parse_pkcs12
from station.certificate.plant_authority import PlantAuthority
from station.errors import EvidenceError, UsageError

KEYS = {"P-384": lambda: ec.generate_private_key(ec.SECP384R1()), "Ed25519": Ed25519PrivateKey.generate,
        "RSA": lambda: rsa.generate_private_key(65537, 2048)}


@pytest.fixture
def keys(plant, tmp_path):
    """A copy of a good folder of keys, to be spoilt."""
    shutil.copytree(plant / "keys", tmp_path / "keys")
    return tmp_path / "keys"


def _pem(key, encryption=None):
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, encryption or NoEncryption())


def test_only_the_owner_can_read_keys(plant):
    for path in (plant / "keys" / KEY_FILE, plant / "authority" / "plant-ca.key"):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_openssl_agrees_with_the_chain(plant):
    said = subprocess.run(["openssl", "verify", "-x509_strict", "-CAfile", str(plant / "keys" / AUTHORITY_FILE),
                           str(plant / "keys" / CERTIFICATE_FILE)], capture_output=True, text=True, check=False)
    assert said.stdout.strip().endswith("OK"), said.stdout + said.stderr
    shown = subprocess.run(["openssl", "x509", "-noout", "-text", "-in", str(plant / "keys" / CERTIFICATE_FILE)],
                           capture_output=True, text=True, check=True).stdout
    assert "Digital Signature, Non Repudiation" in shown
    assert "CA:FALSE" in shown
    assert "prime256v1" in shown


@pytest.mark.parametrize(("years", "holds"), [(0, True), (2, True), (20, True), (26, False)])
def test_what_was_signed_is_trusted_long_after_the_key_signs_no_more(plant, clock_after, years, holds):
    when = str(int(clock_after(timedelta(days=366 * years)).utc().timestamp()))
    said = subprocess.run(["openssl", "verify", "-x509_strict", "-attime", when, "-CAfile",
                           str(plant / "keys" / AUTHORITY_FILE), str(plant / "keys" / CERTIFICATE_FILE)],
                          capture_output=True, text=True, check=False)
    assert said.stdout.strip().endswith("OK") is holds, said.stdout + said.stderr


def test_a_key_signs_for_three_years_or_as_long_as_its_certificate_holds(plant, tmp_path, clock_after):
    first, last = load_station_key(plant / "keys").signing_time
    now = clock_after().utc()
    assert (now - first, round((last - now) / timedelta(days=365.25), 2)) == (timedelta(days=1), 3.0)
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
                    "-days", "90", "-subj", "/CN=EOL-9", "-keyout", str(tmp_path / "key.pem"), "-out",
                    str(tmp_path / "own.pem")], check=True, capture_output=True)
    private = parse_private_key((tmp_path / "key.pem").read_bytes(), "key.pem")
    key = keep_station_key(tmp_path / "keys", private, load_certificates(tmp_path / "own.pem"))
    assert key.signing_time == (key.certificate.not_valid_before_utc, key.certificate.not_valid_after_utc)


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o666])
def test_a_key_that_others_can_read_is_a_key_no_more(keys, mode):
    (keys / KEY_FILE).chmod(mode)
    with pytest.raises(EvidenceError, match=f"mode {mode:o}"):
        load_station_key(keys)


@pytest.mark.parametrize(("name", "words"), [
    (KEY_FILE, "key cannot be read"), (CERTIFICATE_FILE, "certificate cannot be read"),
    (AUTHORITY_FILE, "certificate cannot be read"),
])
@pytest.mark.parametrize("spoil", ["missing", "empty", "text"])
def test_a_file_that_is_missing_or_none_is_told(keys, name, words, spoil):
    if spoil == "missing":
        (keys / name).unlink()
    else:
        (keys / name).write_bytes(b"" if spoil == "empty" else b"not PEM\n")
    with pytest.raises(UsageError, match=words) as caught:
        load_station_key(keys)
    assert name in caught.value.where


@pytest.mark.parametrize("kind", KEYS)
def test_a_key_of_another_kind_is_refused(keys, kind):
    (keys / KEY_FILE).write_bytes(_pem(KEYS[kind]()))
    with pytest.raises(UsageError, match="another kind"):
        load_station_key(keys)


def test_a_key_under_a_password_is_refused(keys):
    (keys / KEY_FILE).write_bytes(_pem(new_private_key(), BestAvailableEncryption(b"secret")))
    with pytest.raises(UsageError, match="without password"):
        load_station_key(keys)


def test_a_key_of_another_pair_is_refused(keys):
    (keys / KEY_FILE).write_bytes(_pem(new_private_key()))
    with pytest.raises(EvidenceError, match="of another key"):
        load_station_key(keys)


def test_a_certificate_that_the_plant_did_not_issue_is_refused(keys, tmp_path, clock_after):
    """Of the same name as the plant's, but of another key."""
    stranger = PlantAuthority.make(tmp_path / "stranger", "Varnholt Works", clock_after())
    (keys / AUTHORITY_FILE).write_bytes(stranger.certificate.public_bytes(Encoding.PEM))
    with pytest.raises(EvidenceError, match="no chain"):
        load_station_key(keys)


def test_the_plants_own_certificate_signs_no_documents(plant, tmp_path):
    authority = PlantAuthority.load(plant / "authority")
    with pytest.raises(EvidenceError, match="does not allow signing"):
        keep_station_key(tmp_path / "keys", authority.private, (authority.certificate,))
    assert not (tmp_path / "keys").exists()


def test_no_key_is_ever_replaced(keys, plant, clock_after):
    before = (keys / KEY_FILE).read_bytes()
    authority = PlantAuthority.load(plant / "authority")
    private = new_private_key()
    chain = (authority.issue("EOL-2", private.public_key(), clock_after()), authority.certificate)
    with pytest.raises(UsageError, match="a key already"):
        keep_station_key(keys, private, chain)
    with pytest.raises(UsageError, match="a key already"):
        PlantAuthority.make(plant / "authority", "Varnholt Works", clock_after())
    assert (keys / KEY_FILE).read_bytes() == before
    assert load_station_key(keys).certificate.subject == load_station_key(plant / "keys").certificate.subject


def test_what_a_plant_issues_never_outlives_it(plant, clock_after):
    authority = PlantAuthority.load(plant / "authority")
    late = clock_after(timedelta(days=38 * 365))
    issued = authority.issue("EOL-3", new_private_key().public_key(), late)
    assert issued.not_valid_after_utc == authority.certificate.not_valid_after_utc
    period = issued.extensions.get_extension_for_class(x509.PrivateKeyUsagePeriod).value
    assert period.not_after.replace(tzinfo=UTC) == issued.not_valid_after_utc


@pytest.mark.parametrize("name", ["", "o" * 65])
def test_a_name_that_no_certificate_can_hold_is_refused(tmp_path, name, clock_after):
    with pytest.raises(UsageError, match="name cannot stand"):
        PlantAuthority.make(tmp_path / "authority", name, clock_after())
    assert not (tmp_path / "authority").exists()


def test_pkcs12_as_openssl_writes_it(plant, keys, tmp_path):
    (tmp_path / "password").write_text("pa ss\n")
    subprocess.run(["openssl", "pkcs12", "-export", "-inkey", str(keys / KEY_FILE), "-in", str(keys / CERTIFICATE_FILE),
                    "-certfile", str(keys / AUTHORITY_FILE), "-out", str(tmp_path / "station.p12"),
                    "-passout", f"file:{tmp_path / 'password'}"], check=True)
    content = (tmp_path / "station.p12").read_bytes()
    private, chain = parse_pkcs12(content, b"pa ss", "station.p12")
    assert (private.private_numbers(), chain) == (
        load_station_key(plant / "keys").private.private_numbers(), load_station_key(plant / "keys").chain)
    for password in (b"other", None):
        with pytest.raises(UsageError, match="cannot be opened"):
            parse_pkcs12(content, password, "station.p12")
    with pytest.raises(UsageError, match="cannot be opened"):
        parse_pkcs12(content[:-40], b"pa ss", "station.p12")


def test_pkcs12_without_all_it_takes_is_refused(plant):
    key = load_station_key(plant / "keys")
    for private, own, above, words in ((None, key.certificate, [key.chain[1]], "no key"),
                                       (key.private, None, None, "no certificate"),
                                       (key.private, key.certificate, None, "certificate of")):
        content = pkcs12.serialize_key_and_certificates(b"x", private, own, above, NoEncryption())
        with pytest.raises(UsageError, match=words):
            parse_pkcs12(content, None, "station.p12")
