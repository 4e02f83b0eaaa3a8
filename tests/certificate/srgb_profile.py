"""Makes the colour profile that certificates carry: `python tests/certificate/srgb_profile.py > sRGB.icc`.

Every figure is that of IEC 61966-2-1 (sRGB), from memory: primaries, white point and transfer curve. The layout is that
of a matrix profile of ICC.1:2001-04 (version 2, which every part of PDF/A admits), from memory. Its date is fixed.
"""

import struct
import sys

import numpy as np

PRIMARIES = {"r": (0.64, 0.33), "g": (0.30, 0.60), "b": (0.15, 0.06)}     # x, y
WHITE = (0.3127, 0.3290)                                                    # D65
D50 = np.array([0.9642, 1.0, 0.8249])                                       # of the profile connection space
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
POINTS = 1024
NAME = b"sRGB"
COPYRIGHT = b"No rights reserved"


def srgb_profile() -> bytes:
    """Return the profile."""
    colorants = _colorants()
    tags = {b"desc": _description(NAME), b"cprt": b"text\0\0\0\0" + COPYRIGHT + b"\0", b"wtpt": _xyz(D50),
            **{b"%cXYZ" % letter: _xyz(colorants[:, index]) for index, letter in enumerate(b"rgb")},
            b"rTRC": _curve()}
    data, offset, places = b"", 128 + 4 + 12 * 9, {}
    for name, content in tags.items():
        places[name] = (offset + len(data), len(content))
        data += content + b"\0" * (-len(content) % 4)
    places |= {b"gTRC": places[b"rTRC"], b"bTRC": places[b"rTRC"]}
    table = b"".join(name + struct.pack(">II", *place) for name, place in places.items())
    body = struct.pack(">I", len(places)) + table + data
    return _header(128 + len(body)) + body


def _header(size: int) -> bytes:
    date = struct.pack(">6H", 2000, 1, 1, 0, 0, 0)
    head = struct.pack(">I4sI4s4s4s", size, b"\0" * 4, 0x02100000, b"mntr", b"RGB ", b"XYZ ") + date + b"acsp"
    return head.ljust(64, b"\0") + struct.pack(">I", 0) + _fixed(D50) + b"\0" * 48


def _colorants() -> np.ndarray:
    """XYZ of the three primaries, in columns, for eyes adapted to D50."""
    xyz = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in PRIMARIES.values()]).T
    white = np.array([WHITE[0] / WHITE[1], 1.0, (1 - WHITE[0] - WHITE[1]) / WHITE[1]])
    colorants = xyz * np.linalg.solve(xyz, white)
    gains = (BRADFORD @ D50) / (BRADFORD @ white)
    return np.linalg.inv(BRADFORD) @ (gains[:, None] * (BRADFORD @ colorants))


def _curve() -> bytes:
    signal = np.linspace(0, 1, POINTS)
    light = np.where(signal <= 0.04045, signal / 12.92, ((signal + 0.055) / 1.055) ** 2.4)
    return struct.pack(f">4sII{POINTS}H", b"curv", 0, POINTS, *np.round(65535 * light).astype(int))


def _fixed(values: np.ndarray) -> bytes:
    return struct.pack(">3i", *(round(65536 * float(value)) for value in values))


def _xyz(values: np.ndarray) -> bytes:
    return b"XYZ \0\0\0\0" + _fixed(values)


def _description(text: bytes) -> bytes:
    return (b"desc\0\0\0\0" + struct.pack(">I", len(text) + 1) + text + b"\0" + struct.pack(">IIHB", 0, 0, 0, 0)
            + b"\0" * 67)


if __name__ == "__main__":
    sys.stdout.buffer.write(srgb_profile())
