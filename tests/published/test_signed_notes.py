"""Notes, checkpoints and cosignatures that others signed, with the keys that they published."""

import base64
from datetime import UTC, datetime

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from station.errors import EvidenceError, UsageError
from station.record.checkpoint import Checkpoint, open_checkpoint, parse_checkpoint
from station.record.cosignature import COSIGNATURE, CosignatureVerifier, WitnessKey, cosigned_at
from station.record.log_key import LogKey
from station.record.signed_note import ED25519, Ed25519Verifier, Signature, parse_key_text, parse_note, verify_note

# Go, golang.org/x/mod/sumdb/note: example of the documentation and note_test.go, key, secret and note
NOTE_KEY = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
NOTE_SECRET = "AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz"
NOTE_TEXT = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n"
NOTE = (NOTE_TEXT + "\n— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb"
        "6KE6RyyBwJnAM=\n")

# C2SP tlog-checkpoint, its example. It was signed under its real name, that of Go's checksum database, whose public
# key every copy of the go command holds.
DATABASE_KEY = "sum.golang.org+033de0ae+Ac4zctda0e5eza+HJyk9SxEdh+s3Ux18htTTAD8OuAn8"
DATABASE_HEAD = ("go.sum database tree\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n\n"
                 "— sum.golang.org Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeM"
                 "cTOAYQ8=\n")

# A head of a public log with the cosignatures of four witnesses, as kept in the tests of a public client; the keys are
# those that the witnesses publish.
COSIGNED = """arche2025h1.staging.ct.transparency.dev
1432088532
U7WM79jrzyhGZ5/GUBTpM7NzwdyfFx61t3RovgcC4Ro=

— arche2025h1.staging.ct.transparency.dev zTM8sQAAAZ5W0WdjBAMARjBEAiBjW5IQf9pvsYLfQFX6hoGREPMHbdQ3urbllzalApkp\
tQIgIpwtEroeW2BXaHAI4kJXFbon5Ch9MNL5zRNZ55lvGt0=
— arche2025h1.staging.ct.transparency.dev ui8GwCF1+kWqZrxGdhj4aX3gcw7XUlXQQabg/27lefwhUkzbC3NygNI75MdhL1bfTW9g\
8Ei59RA23oHP7Ry1k3ZFWwQ=
— transparency.dev/DEV:witness-little-garden 2AQqhwAAAABqEiEgzgFIqqhbUoDwjMWE6UP8nd8/KYTzwZ2rhIgcqoXHAwVkjZr4A\
scylP3v7sEodkRAErumC2q44vdgJY096st5BQ==
— witness1.smartit.nu/witness1 pIyCDwAAAABqEiEghIp82KWebrw7/oHQwlTAm3g2RKS4+eebl8eO0WH+/iEcxZ75W3u5hNI7TOQtmJb\
qmNWVuE0tgh0XwzdZsDsUAQ==
— remora.n621.de 2net5wAAAABqEiEgPlfF3V06o0Y+fHM+J5J9s27wgxxcOVSpZ/2g/KSiXCg9DEZI+aVCIobWX9sXTynk5XeU/zZ0WBxtq\
B0DrAWfBw==
— witness.stagemole.eu Z/euoAAAAABqEiEgw0i+7g2ENfDAWHmtRzCfKTHSDwYDJA2NmKeGi9Y8FtEyOUvVr+AJmIY/2TUFucgKi7lI7cU\
iOvKFYe/TmN9DAg==
"""
LOG = "arche2025h1.staging.ct.transparency.dev+ba2f06c0+AU0vHmlGCS/PdN8b2OaGmKprLI8HKM+dJ472xgFYh15f"
WITNESSES = [
    "transparency.dev/DEV:witness-little-garden+d8042a87+BCtusOxINQNUTN5Oj8HObRkh2yHf/MwYaGX4CPdiVEPM",
    "witness1.smartit.nu/witness1+a48c820f+BPSFWg9G6KPiO7QPryYO5Xq4oYJJ+kAvLKLSimDhoxMO",
    "remora.n621.de+da77ade7+BOvN63jn/bLvkieywe8R6UYAtVtNbZpXh34x7onlmtw2",
    "witness.stagemole.eu+67f7aea0+BEqSG3yu9YrmcM3BHvQYTxwFj3uSWakQepafafpUqklv",
]


def log_verifier(text):
    return Ed25519Verifier(*parse_key_text(text, ED25519, "here"))


def witness_verifier(text):
    return CosignatureVerifier(*parse_key_text(text, COSIGNATURE, "here"))


def test_the_example_note_is_verified():
    parsed = parse_note(NOTE, "here")
    assert parsed.text == NOTE_TEXT
    assert str(parsed) == NOTE
    signature, = verify_note(parsed, [log_verifier(NOTE_KEY)], "here")
    assert (signature.name, signature.key_id.hex()) == ("PeterNeumann", "c74f20a3")


def test_the_example_note_is_signed_the_same():
    secret = Ed25519PrivateKey.from_private_bytes(base64.b64decode(NOTE_SECRET)[1:])
    key = LogKey("PeterNeumann", secret)
    assert key.sign(NOTE_TEXT) == NOTE
    assert str(key.verifier) == NOTE_KEY


@pytest.mark.parametrize("place", range(0, len(NOTE_KEY), 5))
def test_a_mangled_key_is_refused(place):
    mangled = NOTE_KEY[:place] + chr(ord(NOTE_KEY[place]) + 1) + NOTE_KEY[place + 1:]
    for text in (mangled, NOTE_KEY[:place], NOTE_KEY[place + 1:]):
        with pytest.raises(UsageError, match="not the text of a public key"):
            parse_key_text(text, ED25519, "here")


@pytest.mark.parametrize("text", [
    "PeterNeumann+cc469956+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TWBADKEY==",    # length, identifier made to fit
    "PeterNeumann+173116ae+ZRpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW",            # type, identifier made to fit
])
def test_bad_keys_of_the_same_source_are_refused(text):
    with pytest.raises(UsageError, match="not the text of a public key"):
        parse_key_text(text, ED25519, "here")


def test_a_foreign_checkpoint_is_verified():
    found = open_checkpoint(DATABASE_HEAD, [log_verifier(DATABASE_KEY)], "here")
    assert found == Checkpoint("go.sum database tree", 20852163,
                               base64.b64decode("CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I="))
    assert DATABASE_HEAD.startswith(found.text() + "\n")
    with pytest.raises(EvidenceError, match="does not belong to this text"):
        open_checkpoint(DATABASE_HEAD.replace("20852163", "20852164"), [log_verifier(DATABASE_KEY)], "here")


def test_foreign_cosignatures_are_verified_beside_signatures_of_unknown_types():
    parsed = parse_note(COSIGNED, "here")
    found = verify_note(parsed, [log_verifier(LOG), *map(witness_verifier, WITNESSES)], "here")
    assert [signature.name for signature in found] == [text.partition("+")[0] for text in (LOG, *WITNESSES)]
    assert {cosigned_at(signature) for signature in found[1:]} == {datetime.fromtimestamp(0x6A122120, UTC)}
    assert parse_checkpoint(parsed.text, "here").size == 1432088532
    assert str(parsed) == COSIGNED


@pytest.mark.parametrize("text", WITNESSES)
def test_a_cosignature_covers_time_and_text(text):
    parsed, verifier = parse_note(COSIGNED, "here"), witness_verifier(text)
    signature, = verify_note(parsed, [verifier], "here")
    assert verifier.verifies(parsed.text, signature.content)
    later = signature.content[:7] + bytes([signature.content[7] + 1]) + signature.content[8:]
    assert not verifier.verifies(parsed.text, later)
    assert not verifier.verifies(parsed.text.replace("1432088532", "1432088533"), signature.content)
    assert not Ed25519Verifier(verifier.name, verifier.public).verifies(parsed.text, signature.content[8:])
    assert isinstance(signature, Signature)


def test_our_cosignature_has_the_form_of_the_published_ones():
    key = WitnessKey("witness.example/w1", Ed25519PrivateKey.from_private_bytes(bytes(32)))
    at = datetime(2023, 3, 20, 12, 25, 47, tzinfo=UTC)      # the example of tlog-cosignature: time 1679315147
    text = "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n"
    signature = key.cosign(text, at)
    assert len(signature.content) == 8 + 64
    assert cosigned_at(signature) == at
    key.private.public_key().verify(signature.content[8:], b"cosignature/v1\ntime 1679315147\n" + text.encode())
