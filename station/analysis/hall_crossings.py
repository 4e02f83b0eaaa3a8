"""Where a channel of integer codes changes between two states: every change, at the price of one comparison."""

import numpy as np
from numpy.typing import NDArray

CHUNK = 1 << 18       # samples; their comparison stays in the cache
WORD = 64             # samples packed into one integer
ONE = np.uint64(1)
ENDS = np.array([[0], [WORD - 1]])    # of a word

Indices = NDArray[np.int64]


def state_runs(codes: NDArray[np.int16], lower: float, upper: float) -> tuple[Indices, Indices, NDArray[np.bool_]]:
    """Return the settled runs of a channel around its changes of state: first and last sample (m,), and if high.

    A sample above `upper` is high, one not above `lower` low; those between belong to no state. Runs
    of one state follow each other where nothing but such samples parts them. A run that is far from
    every change may be left out, and end only where the next one begins; its state holds until then.

    Who goes from one state to the other crosses the middle. So codes are compared with the middle,
    64 samples to a word: words that are all alike and go on where the one before ends hold no change. The others
    are looked at sample by sample, and their neighbours until the line is settled at both ends.
    Nothing is passed over, not even a pulse of one sample.

    Parameters
    ----------
    codes : (n,) int16, n >= 1
    lower, upper : codes, -32768 to 32767, lower < upper
    """
    low, high = np.int16(lower // 1), np.int16(upper // 1)    # integers compare without conversion
    words = _settled_words(codes, low, high, _suspect_words(codes, np.int16((lower + upper) // 2)))
    places = (words * WORD)[:, None] + np.arange(-1, WORD)
    near = codes.take(places, mode="clip")
    above, not_below = near > high, near > low
    changed = (above[:, 1:] != above[:, :-1]) | (not_below[:, 1:] != not_below[:, :-1])
    starts = np.append(0, places[:, 1:][changed])
    ends = np.append(starts[1:], codes.size) - 1
    here = codes[starts]
    is_high = here > high
    settled = is_high | (here <= low)
    return starts[settled], ends[settled], is_high[settled]


def _suspect_words(codes: NDArray[np.int16], middle: np.int16) -> NDArray[np.bool_]:
    """Words in which the middle is crossed, both words between which it is, and the first one."""
    words = _packed(codes, middle)
    suspect = words + ONE > ONE     # neither 0 nor, by wrapping round, all ones
    suspect[0] = True
    unlike = np.flatnonzero(words[1:] != words[:-1]) + 1
    octets = words.view(np.uint8)   # the first sample is the highest bit of the first of eight
    crossed = unlike[octets[8 * unlike] >> 7 != octets[8 * unlike - 1] & 1]
    suspect[crossed] = suspect[crossed - 1] = True
    return suspect


def _settled_words(codes: NDArray[np.int16], low: np.int16, high: np.int16, suspect: NDArray[np.bool_]) -> Indices:
    """Return the suspect words with their neighbours, as far as the line is between the states."""
    new = np.flatnonzero(suspect)
    while new.size:
        edges = codes.take(new * WORD + ENDS, mode="clip")
        first, last = (edges > low) & (edges <= high)
        wanted = np.concatenate([new[first] - 1, new[last] + 1])
        wanted = wanted[(wanted >= 0) & (wanted < suspect.size)]
        new = wanted[~suspect[wanted]]      # twice what both neighbours ask for, which does no harm
        suspect[new] = True
    return np.flatnonzero(suspect)


def _packed(codes: NDArray[np.int16], level: np.int16) -> NDArray[np.uint64]:
    """Return codes > level, 64 samples to a word; zeros fill the last one."""
    packed = np.zeros(-(-codes.size // WORD) * WORD // 8, dtype=np.uint8)
    for start in range(0, codes.size, CHUNK):
        bits = np.packbits(codes[start:start + CHUNK] > level)
        packed[start // 8:start // 8 + bits.size] = bits
    return packed.view(np.uint64)
