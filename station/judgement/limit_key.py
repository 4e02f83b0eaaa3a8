"""Keys of limits: a characteristic, and after an @ the one capture that the limit holds for."""

import re

_LABEL = re.compile(r"(forward|reverse) (\d+(?:\.\d+)?)")


def read_key(key: str) -> tuple[str, str | None]:
    """Return (characteristic, capture label or None) of `thd@reverse 1500`.

    The label comes back in the spelling of captures ("1500.0" as "1500"); one of wrong form comes back as typed,
    for `is_label` to refuse.
    """
    name, at, typed = key.partition("@")
    if not at:
        return name, None
    match = _LABEL.fullmatch(typed)
    return name, f"{match[1]} {float(match[2]):g}" if match else typed


def is_label(label: str) -> bool:
    """Return whether `label` names a direction and a speed above zero in r/min."""
    match = _LABEL.fullmatch(label)
    return match is not None and float(match[2]) > 0
