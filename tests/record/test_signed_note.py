"""A note says what its text says only when a known key signed that text; see tests/published for foreign ones."""

import base64

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from station.errors import EvidenceError, UsageError
from station.record.log_key import LogKey
from station.record.signed_note import ED25519, Ed25519Verifier, is_name, parse_key_text, parse_note, verify_note

KEY = LogKey("varnholt-1", Ed25519PrivateKey.from_private_bytes(bytes(32)))
OTHER = LogKey("varnholt-2", Ed25519PrivateKey.from_private_bytes(bytes(31) + b"\x01"))
NOTE = KEY.sign("first line\n\nthird line\n")
SIGNATURE = NOTE.rpartition("\n\n")[2]


def test_a_text_may_hold_empty_lines():
    parsed = parse_note(NOTE, "here")
    assert parsed.text == "first line\n\nthird line\n"
    assert str(parsed) == NOTE
    assert verify_note(parsed, [KEY.verifier], "here") == parsed.signatures


def test_unknown_keys_are_passed_over_known_ones_never():
    both = NOTE + OTHER.sign("first line\n\nthird line\n").rpartition("\n\n")[2]
    for known in (KEY, OTHER):
        signature, = verify_note(parse_note(both, "here"), [known.verifier], "here")
        assert signature.name == known.name
    wrong = NOTE + OTHER.sign("another text\n").rpartition("\n\n")[2]
    assert verify_note(parse_note(wrong, "here"), [KEY.verifier], "here")
    with pytest.raises(EvidenceError, match="does not belong to this text"):
        verify_note(parse_note(wrong, "here"), [KEY.verifier, OTHER.verifier], "here")


def test_a_note_of_unknown_keys_only_is_refused():
    with pytest.raises(EvidenceError, match="signed by no known key"):
        verify_note(parse_note(NOTE, "here"), [OTHER.verifier], "here")
    with pytest.raises(EvidenceError, match="signed by no known key"):
        verify_note(parse_note(NOTE, "here"), [], "here")
    same_name = Ed25519Verifier("varnholt-1", OTHER.verifier.public)
    with pytest.raises(EvidenceError, match="signed by no known key"):
        verify_note(parse_note(NOTE, "here"), [same_name], "here")


@pytest.mark.parametrize("place", range(len(NOTE)))
def test_no_changed_note_is_verified(place):
    for other in "x", chr(ord(NOTE[place]) + 1):
        changed = NOTE[:place] + other + NOTE[place + 1:]
        if changed != NOTE:
            with pytest.raises(EvidenceError):
                verify_note(parse_note(changed, "here"), [KEY.verifier], "here")


@pytest.mark.parametrize("note", [
    "", "no signature\n", "text\n\n", "text\n\n\n", "text\n\n- varnholt-1 AAAAAAA=\n", "text\n\n— varnholt-1\n",
    "text\n\n— varnholt-1 AAAA\n", "text\n\n— varnholt-1 !!!!\n", NOTE.removesuffix("\n"),
    NOTE.replace("first", "fi\tst"), NOTE.replace("first", "fi\rst"),
    NOTE + "\n", NOTE.replace("— ", "—"), "text\n\n" + 65 * SIGNATURE,
    NOTE.replace("varnholt-1", "varnholt+1")])
def test_what_is_no_note_is_refused(note):
    with pytest.raises(EvidenceError, match="not a signed note"):
        parse_note(note, "here")


def test_sixteen_signatures_are_read():
    assert len(parse_note("text\n\n" + 16 * SIGNATURE, "here").signatures) == 16


@pytest.mark.parametrize(("name", "fits"), [
    ("varnholt-1", True), ("varnholt.invalid/line 2", False), ("a+b", False), ("", False), ("a\u2003b", False),
    ("a\x01b", False), ("wörk", True)])
def test_names(name, fits):
    assert is_name(name) is fits


@pytest.mark.parametrize("text", [
    "", "varnholt-1", str(KEY.verifier).replace("varnholt-1", "varnholt-2"), str(KEY.verifier)[:-4],
    str(KEY.verifier).replace("+A", "+B"), str(KEY.verifier) + "AAAA",
    f"varnholt-1+00000000+{base64.b64encode(bytes([ED25519]) + KEY.verifier.public).decode()}"])
def test_what_is_no_key_is_refused(text):
    with pytest.raises(UsageError, match="not the text of a public key"):
        parse_key_text(text, ED25519, "here")


def test_a_key_is_read_as_it_is_written():
    assert Ed25519Verifier(*parse_key_text(f"{KEY.verifier}\n", ED25519, "here")) == KEY.verifier
