"""Where a channel of integer codes crosses a threshold: every crossing, at the price of one comparison."""

import numpy as np
from numpy.typing import NDArray

CHUNK = 1 << 18       # samples; their comparison stays in the cache
WORD = 64             # samples packed into one integer


def crossings(codes: NDArray[np.int16], threshold: float) -> NDArray[np.int64]:
    """Return the indices k, ascending, at which codes[k] > threshold is not as it was at k - 1.

    The comparison is packed 64 samples to a word. Words that are all alike and like the one before
    hold no crossing; only the others are looked at sample by sample. So nothing is passed over,
    not even a pulse of one sample.

    Parameters
    ----------
    codes : (n,) int16
    """
    words = _packed(codes, threshold)
    mixed = words + np.uint64(1) > np.uint64(1)     # neither 0 nor, by wrapping round, all ones
    mixed[1:] |= words[1:] != words[:-1]
    places = (np.flatnonzero(mixed) * WORD)[:, None] + np.arange(-1, WORD)
    above = codes[np.clip(places, 0, codes.size - 1)] > threshold
    row, column = np.nonzero(above[:, 1:] != above[:, :-1])
    found: NDArray[np.int64] = places[row, column + 1]
    return found


def _packed(codes: NDArray[np.int16], threshold: float) -> NDArray[np.uint64]:
    """Return codes > threshold, 64 samples to a word; zeros fill the last one."""
    level = np.int16(np.clip(np.floor(threshold), -32768, 32767))    # comparing integers needs no conversion
    packed = np.zeros(-(-codes.size // WORD) * WORD // 8, dtype=np.uint8)
    for start in range(0, codes.size, CHUNK):
        bits = np.packbits(codes[start:start + CHUNK] > level)
        packed[start // 8:start // 8 + bits.size] = bits
    return packed.view(np.uint64)
