"""A record at a glance: everything in it but its values, without reading those.

Measurements, judged rows and plots are nineteen twentieths of a record, and parsing them takes many times longer than
hashing them. In canonical JSON the keys are sorted, so that the key behind each of them is known and they can be cut
out; what is left does not parse if anything else was hit, as its brackets do not match, and the whole is parsed then.
"""

import json
from typing import Any

VALUES = ("judged", "measurements", "plots")
# What may follow each of them in a record of format 1.
_NEXT = {b"judged": (b"limit_file",), b"measurements": (b"motor_type",), b"plots": (b"purpose", b"reason")}


def at_a_glance(body: bytes) -> dict[str, Any] | None:
    """Return the record in `body` without its values; None when it is no JSON object in UTF-8."""
    said = _parse(_without_values(body)) or _parse(body)
    return {key: value for key, value in said.items() if key not in VALUES} if isinstance(said, dict) else None


def _without_values(body: bytes) -> bytes:
    """Return `body` with every list of values cut out, as far as they stand where a record has them."""
    parts, at = [], 0
    for key, following in _NEXT.items():
        begin = body.find(b',"%s":[' % key, at)
        ends = [body.find(b'],"%s":' % other, begin) for other in following]
        end = min((end for end in ends if end >= 0), default=-1)
        if begin >= 0 <= end:
            parts.append(body[at:begin])
            at = end + 1
    return b"".join([*parts, body[at:]])


def _parse(content: bytes) -> Any:  # noqa: ANN401 - JSON
    """Return what `content` holds, None when it is no JSON."""
    try:
        return json.loads(content)
    except (ValueError, RecursionError):
        return None
