"""How far one draw of random phases scatters what a multitone says of even and odd distortion.

Several products may fall on one bin, and how they add depends on the phases of the tones: another draw gives another
sum. Of curves between filters a band's odd power scattered by 0.9 dB r.m.s. about the mean of 16 draws, its even power
by 0.45 dB (own; tests/test_multitone_draws.py), of a loudspeaker's odd power by 1.3 dB about the mean of 24. The power
mean of N draws scatters by 1 / sqrt(N) of that. With several draws they show their own scatter, beside what is
expected:

    s^2 = (EXPECTED_FREEDOM s0^2 + (N - 1) s_N^2) / (EXPECTED_FREEDOM + N - 1)

s0 the expected scatter, s_N that of the N draws, dB.
"""

import numpy as np
import numpy.typing as npt

from distort.analysis.common.statistics import DB_PER_NEPER_OF_POWER
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]

EVEN_DB, ODD_DB = 0.5, 1.3
"""Expected scatter of a band of a third octave, r.m.s.: of low bands more, of high ones, with many products, less."""

EXPECTED_FREEDOM = 3.0
"""The expected scatter counts as much as that of four draws: own choice. More trusts the draws less."""


def draws_variance(power: FloatArray, *, expected_db: float) -> FloatArray:
    """Variance that the draws leave to their mean power, relative to its square, `(bands,)`.

    power   of each draw, `(draws, bands)`, noise removed
    """
    count = power.shape[0]
    seen = 0.0
    if count > 1:
        with np.errstate(invalid="ignore"):  # bands without a line
            seen = np.nan_to_num(np.var(power_to_db(power), axis=0, ddof=1))
    freedom = count - 1.0
    scatter = (EXPECTED_FREEDOM * expected_db**2 + freedom * seen) / (EXPECTED_FREEDOM + freedom)
    return np.asarray(np.broadcast_to(scatter / DB_PER_NEPER_OF_POWER**2 / count, power.shape[1:]))
