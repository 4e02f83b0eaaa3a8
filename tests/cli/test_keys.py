"""`station keys`, and what becomes of certificates when a key is in trouble."""

import json
import shutil
import subprocess

import pytest

from station.certificate.build import build_certificate
from station.exit_code import ExitCode
from station.record.store import Store


@pytest.fixture
def station(folder):
    return folder / "station.toml"


@pytest.fixture
def pdfsig(folder, tmp_path):
    """What poppler and NSS say of a certificate, the plant's root being all that they trust."""
    def look(path):
        shutil.rmtree(tmp_path / "nss", ignore_errors=True)
        (tmp_path / "nss").mkdir()
        for words in (["-N", "--empty-password"],
                      ["-A", "-n", "plant", "-t", "C,C,C", "-i", str(folder / "plant-authority" / "plant-ca.pem")]):
            subprocess.run(["certutil", *words[:1], "-d", str(tmp_path / "nss"), *words[1:]], check=True)
        return subprocess.run(["pdfsig", "-nssdir", str(tmp_path / "nss"), str(path)], capture_output=True, text=True,
                              check=False).stdout
    return look


def test_a_key_in_trouble_takes_nothing_from_the_verdict(folder, station, command, pdfsig):
    key = folder / "keys" / "station.key"
    key.chmod(0o644)
    code, out, err = command("test", "CP40-0001", "--station", station)
    assert code == ExitCode.PASS
    assert "✓ PASS" in out
    assert "no certificate yet" in err
    assert "mode 644" in err
    assert not (folder / "store" / "certificates").exists()
    assert command("certificate", "CP40-0001", "--station", station)[0] == ExitCode.EVIDENCE

    key.chmod(0o600)
    code, out, _ = command("certificate", "--missing", "--station", station)
    assert code == 0
    assert "CP40-0001-run1.pdf" in out
    assert "1 certificate(s) issued" in out
    assert "0 certificate(s) issued" in command("certificate", "--missing", "--station", station)[1]
    pdf = folder / "later.pdf"
    assert command("certificate", "CP40-0001", "--station", station, "--out", pdf)[0] == 0
    assert pdf.read_bytes() == (folder / "store" / "certificates" / "CP40-0001-run1.pdf").read_bytes()
    said = pdfsig(pdf)
    assert "Signature is Valid." in said
    assert "Certificate is Trusted." in said
    record = json.loads(command("records", "show", "CP40-0001", "--station", station, "--json")[1])
    with Store(folder / "store", read_only=True) as store:
        assert pdf.read_bytes().startswith(build_certificate(store.evidence(record)))


def test_without_a_table_signing_certificates_are_plain(folder, station, command, pdfsig):
    station.write_text(station.read_text().replace('[signing]\nkeys = "keys"\n', ""))
    assert command("test", "CP40-0001", "--station", station)[0] == ExitCode.PASS
    kept = folder / "store" / "certificates" / "CP40-0001-run1.pdf"
    assert "does not contain any signatures" in pdfsig(kept)
    assert command("keys", "show", "--station", station)[0] == ExitCode.WRONG_USE


def test_show_tells_the_auditor_what_to_trust(folder, station, command):
    code, out, _ = command("keys", "show", "--station", station)
    assert code == 0
    for name in ("plant-ca.pem", "station.pem"):
        said = subprocess.run(["openssl", "x509", "-noout", "-fingerprint", "-sha256", "-in",
                               str(folder / "keys" / name)], capture_output=True, text=True, check=True).stdout
        assert said.strip().partition("=")[2].replace(":", "").lower() in out
    assert (folder / "keys" / "log.pub").read_text().strip() in out
    assert "1095 more days" in out


def test_keys_are_made_where_they_are_missing_and_never_replaced(folder, station, command):
    kept = (folder / "keys" / "log.key").read_bytes()
    root = (folder / "keys" / "plant-ca.pem").read_bytes()
    code, _, err = command("keys", "make", "--station", station)
    assert code == ExitCode.WRONG_USE
    assert "has its keys already" in err

    (folder / "keys" / "station.key").unlink()
    code, out, _ = command("keys", "make", "--station", station)
    assert code == 0
    assert "off the station" in out
    assert (folder / "keys" / "log.key").read_bytes() == kept
    assert (folder / "keys" / "plant-ca.pem").read_bytes() == root      # the authority was there
    signing = (folder / "keys" / "station.key").read_bytes()
    for name in ("log.key", "log.pub"):
        (folder / "keys" / name).unlink()
    assert command("keys", "make", "--station", station)[0] == 0
    assert (folder / "keys" / "log.key").read_bytes() != kept
    assert (folder / "keys" / "station.key").read_bytes() == signing


def test_a_new_authority_names_the_organisation(folder, station, command):
    shutil.rmtree(folder / "keys")
    code, out, _ = command("keys", "make", "--station", station, "--authority", folder / "other", "--organisation",
                           "Pellworm Works")
    assert code == 0
    assert "Station EOL-1, Pellworm Works" in out
    assert (folder / "other" / "plant-ca.key").exists()


def test_a_certificate_is_renewed_for_the_same_key(folder, station, command):
    key, certificate = (folder / "keys" / name for name in ("station.key", "station.pem"))
    before = key.read_bytes(), certificate.read_bytes()
    assert command("keys", "renew", "--station", station)[0] == 0
    assert key.read_bytes() == before[0]
    assert certificate.read_bytes() != before[1]
    shutil.rmtree(folder / "plant-authority")       # as it should be
    code, _, err = command("keys", "renew", "--station", station)
    assert code == ExitCode.WRONG_USE
    assert "plant-ca.key" in err


def test_a_key_of_the_plants_own_authority_is_imported(folder, station, command, pdfsig):
    keys, given = folder / "keys", folder / "given"
    keys.rename(given)
    (folder / "password").write_text("pa ss\n")
    bundle = folder / "station.p12"
    subprocess.run(["openssl", "pkcs12", "-export", "-inkey", str(given / "station.key"), "-in",
                    str(given / "station.pem"), "-certfile", str(given / "plant-ca.pem"), "-out", str(bundle),
                    "-passout", f"file:{folder / 'password'}"], check=True)
    words = ("keys", "import", bundle, "--station", station, "--password-file", folder / "password")
    assert command(*words)[0] == 0
    assert (keys / "station.pem").read_bytes() == (given / "station.pem").read_bytes()
    assert command("test", "CP40-0001", "--station", station)[0] == ExitCode.PASS
    assert "Certificate is Trusted." in pdfsig(folder / "store" / "certificates" / "CP40-0001-run1.pdf")

    before = (keys / "station.key").read_bytes()
    code, _, err = command(*words)
    assert (code, (keys / "station.key").read_bytes()) == (ExitCode.WRONG_USE, before)
    assert "a key already" in err


@pytest.mark.parametrize("password", ["wrong\n", "\n"])
def test_an_import_that_fails_leaves_nothing(folder, station, command, password):
    shutil.rmtree(folder / "keys")
    (folder / "password").write_text(password)
    (folder / "station.p12").write_bytes(b"no such thing")
    code, _, err = command("keys", "import", folder / "station.p12", "--station", station, "--password-file",
                           folder / "password")
    assert code == ExitCode.WRONG_USE
    assert "cannot be opened" in err
    assert not (folder / "keys").exists()
