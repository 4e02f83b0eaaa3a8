"""station.plant.message_signature against the examples of RFC 9421, appendix B, and RFC 9530, appendix D.

The texts were taken from public test suites that hold them; a reader with the standards at hand finds them under these
numbers. The private key is published for tests.
"""

import base64

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from station.plant.message_signature import (
    Message,
    digest_of,
    require_content,
    signature_base,
    verify,
)
from station.plant.refused import MalformedError, UnsignedError
from station.record.key_pair import public_bytes
from station.record.signed_note import Ed25519Verifier

# B.1.4
PRIVATE = Ed25519PrivateKey.from_private_bytes(base64.urlsafe_b64decode("n4Ni-HpISpVObnQMW0wOhCKROaIKqKtW_2ZYb2p9KcU="))
PUBLIC = base64.urlsafe_b64decode("JrQLj5P_89iXES9-vFgrIy29clF9CC_oPPsw3c5D0bs=")
# B.2 and B.2.6
CONTENT = b'{"hello": "world"}'
COVERED = ["date", "@method", "@path", "@authority", "content-type", "content-length"]
PARAMETERS = ('("date" "@method" "@path" "@authority" "content-type" "content-length");created=1618884473;'
              'keyid="test-key-ed25519"')
SIGNATURE = "wqcAqbmYJ2ji2glfAMaRy4gruYYnx2nEFN2HN6jrnDnQCK1u02Gb04v9EDgwUPiu4A0w6vuQv5lIp5WPpBKRCw=="
FIELDS = {"date": "Tue, 20 Apr 2021 02:07:55 GMT", "content-type": "application/json", "content-length": "18",
          "signature-input": f"sig-b26={PARAMETERS}", "signature": f"sig-b26=:{SIGNATURE}:"}
BASE = b"""\
"date": Tue, 20 Apr 2021 02:07:55 GMT
"@method": POST
"@path": /foo
"@authority": example.com
"content-type": application/json
"content-length": 18
"@signature-params": ("date" "@method" "@path" "@authority" "content-type" "content-length");created=1618884473;\
keyid="test-key-ed25519\""""


def message(**changed):
    return Message(changed.pop("method", "POST"), changed.pop("authority", "example.com"),
                   changed.pop("path", "/foo"), {**FIELDS, **changed})


def known(name):
    return Ed25519Verifier(name, PUBLIC) if name == "test-key-ed25519" else None


def test_the_base_is_the_published_one():
    assert signature_base(message(), COVERED, PARAMETERS) == BASE


def test_the_signature_is_the_published_one():
    assert public_bytes(PRIVATE) == PUBLIC
    signed = PRIVATE.sign(signature_base(message(), COVERED, PARAMETERS))
    assert base64.b64encode(signed).decode() == SIGNATURE


def test_the_published_message_is_verified():
    assert verify(message(), known, required=()) == "test-key-ed25519"


@pytest.mark.parametrize("changed", [
    {"method": "PUT"}, {"authority": "example.org"}, {"path": "/foo/"}, {"date": "Tue, 20 Apr 2021 02:07:56 GMT"},
    {"content-length": "19"}, {"signature-input": f"sig-b26={PARAMETERS.replace('73;', '74;')}"},
    {"signature-input": f"sig-b26={PARAMETERS.replace('test-key-ed25519', 'another')}"},
    {"signature": f"sig-b26=:{SIGNATURE.replace('w', 'x', 1)}:"}, {"signature": f"another=:{SIGNATURE}:"}])
def test_whatever_is_changed_in_it_is_noticed(changed):
    with pytest.raises(UnsignedError):
        verify(message(**changed), known, required=())


# The former from the examples of both standards, the latter with the line end of RFC 9530, section D.1.
@pytest.mark.parametrize(("content", "sha256"), [
    (CONTENT, "X48E9qOokqqrvdts8nOJRJN3OWDUoyWxBf7kbu9DBPE="),
    (CONTENT + b"\n", "RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=")])
def test_digests_are_the_published_ones(content, sha256):
    assert digest_of(content) == f"sha-256=:{sha256}:"


def test_a_digest_of_other_content_is_noticed():
    with pytest.raises(MalformedError, match="not the one that was sent"):
        require_content(message(**{"content-digest": digest_of(CONTENT)}), CONTENT + b" ")
