"""Where a channel of integer codes crosses thresholds: every crossing, at the price of a comparison each."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

CHUNK = 1 << 18       # samples; their comparison stays in the cache
WORD = 64             # samples packed into one integer


def crossings(codes: NDArray[np.int16], thresholds: Sequence[float]) -> NDArray[np.int64]:
    """Return the indices k, ascending, at which codes[k] > threshold is not as at k - 1, for any threshold.

    The comparison is packed 64 samples to a word. Words that are all alike and like the one before
    hold no crossing; only the others are looked at sample by sample. So nothing is passed over,
    not even a pulse of one sample.

    Parameters
    ----------
    codes : (n,) int16, n >= 1
    thresholds : codes, -32768 to 32767
    """
    levels = [np.int16(threshold // 1) for threshold in thresholds]    # integers compare without conversion
    suspect = np.zeros(-(-codes.size // WORD), dtype=np.bool_)
    for level in levels:
        words = _packed(codes, level)
        suspect |= words + np.uint64(1) > np.uint64(1)     # neither 0 nor, by wrapping round, all ones
        suspect[1:] |= words[1:] != words[:-1]
    places = (np.flatnonzero(suspect) * WORD)[:, None] + np.arange(-1, WORD)
    near = codes.take(places, mode="clip")
    above = sum((near > level).view(np.int8) for level in levels)
    found: NDArray[np.int64] = places[:, 1:][np.diff(above, axis=1) != 0]
    return found


def _packed(codes: NDArray[np.int16], level: np.int16) -> NDArray[np.uint64]:
    """Return codes > level, 64 samples to a word; zeros fill the last one."""
    packed = np.zeros(-(-codes.size // WORD) * WORD // 8, dtype=np.uint8)
    for start in range(0, codes.size, CHUNK):
        bits = np.packbits(codes[start:start + CHUNK] > level)
        packed[start // 8:start // 8 + bits.size] = bits
    return packed.view(np.uint64)
