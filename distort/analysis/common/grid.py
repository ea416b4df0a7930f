"""Where results are stated: the frequency grid, and the bands of IEC 61260-1 (base ten)."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

OCTAVE_RATIO = 10.0**0.3
"""G of IEC 61260-1, base ten: one octave."""

ROWS_PER_OCTAVE = 24
_FIRST_ROW, _LAST_ROW = -136, 104


def grid_hz() -> FloatArray:
    """Rows of every curve, `(241,)`: `1000 x 10^(x / 80)` Hz, x = -136 ... 104, which is 19.953 Hz to 19.953 kHz."""
    return np.asarray(1000.0 * 10.0 ** (np.arange(_FIRST_ROW, _LAST_ROW + 1) / 80.0))


def midbands_hz(*, bands_per_octave: int, from_hz: float = 19.0, to_hz: float = 21000.0) -> FloatArray:
    """Exact mid-band frequencies of IEC 61260-1 between two frequencies, for 1 or 3 (any odd number) bands an octave.

    `f_m = 1000 G^(x / b)`, formula (2) of IEC 61260-1:2014 (from memory), for odd b.
    Raises ValueError for an even number of bands, whose mid-bands follow another formula.
    """
    if bands_per_octave % 2 == 0:
        raise ValueError(f"bands_per_octave must be odd, not {bands_per_octave}")
    first = int(np.ceil(bands_per_octave * np.log(from_hz / 1000.0) / np.log(OCTAVE_RATIO)))
    last = int(np.floor(bands_per_octave * np.log(to_hz / 1000.0) / np.log(OCTAVE_RATIO)))
    return np.asarray(1000.0 * OCTAVE_RATIO ** (np.arange(first, last + 1) / bands_per_octave))


def band_edges_hz(midband_hz: npt.ArrayLike, *, bands_per_octave: int) -> tuple[FloatArray, FloatArray]:
    """Lower and upper edge of each band: `f_m G^(-+1 / (2 b))` (IEC 61260-1:2014, from memory)."""
    midband = np.asarray(midband_hz, dtype=np.float64)
    half = OCTAVE_RATIO ** (0.5 / bands_per_octave)
    return midband / half, midband * half
