"""Loudness of a programme as ITU-R BS.1770-4 measures it: K-weighted, in blocks of which the quiet ones do not count.

    l_j = -0.691 + 10 lg sum_c G_c z_cj            loudness of block j, LKFS
    L   = -0.691 + 10 lg mean_{j in J} sum_c G_c z_cj

z_cj is the mean square of channel c, K-weighted, in block j; G_c the channel's weight (1 in front, 1.41 at the sides
and behind). J are the blocks over the absolute gate, -70 LKFS, that are also over the relative one: 10 LU under the
loudness of those over the absolute gate. Blocks are 0.4 s long and begin every 0.1 s. Differences are in LU, each as
large as a dB.
"""

import numpy as np
import numpy.typing as npt
import scipy

FloatArray = npt.NDArray[np.float64]

OFFSET_DB = -0.691
"""Equation 2: it takes off what the K-weighting adds at 997 Hz, so that a sine of 0 dBFS there reads -3.01 LKFS."""

BLOCK_S, STEP_S = 0.4, 0.1
ABSOLUTE_GATE_LKFS = -70.0
RELATIVE_GATE_LU = -10.0

TABLE_RATE_HZ = 48000.0

SHELF = np.array([[1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585]])
"""Table 1: what a head does, about +4 dB above 1.7 kHz. `(2, 3)`: numerator, denominator, at 48 kHz."""

HIGH_PASS = np.array([[1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621]])
"""Table 2: the ear's loss below some 40 Hz; at 48 kHz. Tables 1 and 2 are written from memory."""

LOWEST_RATE_HZ = 8000.0
"""Of a sample: below it the shelf at 1.7 kHz would lie near half the rate and have no top."""


def k_weighting(sample_rate: float) -> FloatArray:
    """The K-weighting at `sample_rate`, Hz, as second-order sections of scipy, `(2, 6)`.

    Its corners lie at the same frequencies as those of the standard's table at 48 kHz. The bilinear transform that
    leads from the table's z to s maps f to tan(pi f / rate). A section's corner is where its poles lie:
    K = sqrt(d0 / d2) with the denominator d2 s^2 + d1 s + d0. At another rate s is scaled so that it stays there.

    Raises ValueError below 8 kHz.
    """
    if sample_rate < LOWEST_RATE_HZ:
        raise ValueError(f"loudness needs a sample rate of at least {LOWEST_RATE_HZ:g} Hz, not {sample_rate:g}")
    return np.array([_at_rate(table, sample_rate) for table in (SHELF, HIGH_PASS)])


def _at_rate(table: FloatArray, sample_rate: float) -> FloatArray:
    """A section of the table, `(2, 3)`, at another sample rate: `(6,)`, a0 = 1."""
    analogue = np.array([_to_s(row) for row in table])
    corner = np.sqrt(analogue[1, 2] / analogue[1, 0])
    corner_hz = TABLE_RATE_HZ / np.pi * np.arctan(corner)
    scale = corner / np.tan(np.pi * corner_hz / sample_rate)
    digital = np.array([_to_z(row * scale ** np.array([2.0, 1.0, 0.0])) for row in analogue])
    return np.asarray((digital / digital[1, 0]).ravel())


def _to_s(powers_of_z: FloatArray) -> FloatArray:
    """`(3,)` coefficients of 1, 1/z, 1/z^2 as those of s^2, s, 1.

    1/z = (1 - s) / (1 + s), so that b0 + b1/z + b2/z^2 = (b0 (1 + s)^2 + b1 (1 - s^2) + b2 (1 - s)^2) / (1 + s)^2.
    """
    b0, b1, b2 = powers_of_z
    return np.array([b0 - b1 + b2, 2.0 * (b0 - b2), b0 + b1 + b2])


def _to_z(powers_of_s: FloatArray) -> FloatArray:
    """`(3,)` coefficients of s^2, s, 1 as those of 1, 1/z, 1/z^2: the same the other way round."""
    d2, d1, d0 = powers_of_s
    return np.array([d2 + d1 + d0, 2.0 * (d0 - d2), d2 - d1 + d0])


def integrated_lkfs(samples: FloatArray, sample_rate: float, *, weights: FloatArray | None = None) -> float:
    """Gated loudness of a whole programme, LKFS; -inf where no block is over the absolute gate.

    samples   `(n,)`, or `(channels, n)`; full scale 1; 0.4 s at least
    weights   G_c, `(channels,)`; None: 1 each, as for left, right and centre

    Raises ValueError for less than 0.4 s, a rate below 8 kHz, or weights of another number of channels.
    """
    powers = _block_powers(np.atleast_2d(samples), sample_rate, weights)
    over = powers[powers > _power(ABSOLUTE_GATE_LKFS)]
    if over.size == 0:
        return float("-inf")
    kept = over[over > over.mean() * 10.0 ** (RELATIVE_GATE_LU / 10.0)]
    return float(OFFSET_DB + 10.0 * np.log10(kept.mean()))


def _block_powers(samples: FloatArray, sample_rate: float, weights: FloatArray | None) -> FloatArray:
    """Weighted sum of the channels' mean squares in each block, `(blocks,)`."""
    block, step = round(BLOCK_S * sample_rate), round(STEP_S * sample_rate)
    channels, n = samples.shape
    if n < block:
        raise ValueError(f"loudness needs {BLOCK_S:g} s at least, not {n / sample_rate:.3g} s")
    each = np.ones(channels) if weights is None else np.asarray(weights, dtype=np.float64)
    if each.shape != (channels,):
        raise ValueError(f"{channels} channels need as many weights, not {each.size}")
    weighted = scipy.signal.sosfilt(k_weighting(sample_rate), samples, axis=-1)
    together = np.concatenate([[0.0], np.cumsum(each @ np.square(weighted))])
    starts = np.arange(0, n - block + 1, step)
    return np.asarray((together[starts + block] - together[starts]) / block)


def _power(lkfs: float) -> float:
    return float(10.0 ** ((lkfs - OFFSET_DB) / 10.0))
