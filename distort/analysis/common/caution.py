"""Which readings are to be used with caution: those that something else than the loudspeaker may have made, or moved.
A reading whose noise floor is not known is one of them, since nothing tells it from noise.

A floor 10 dB below a reading moves it by 10 log10(1 + 10^(-10/10)) = 0.4 dB where powers add, and by at most 3 dB where
amplitudes do. Decay of the next order is as steady as the order itself, so its amplitude counts: 25 dB below it moves
the reading by 20 log10(1 + 10^(-25/20)) = 0.5 dB.
"""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

CLEAR_OF_NOISE_DB = 10.0
"""A reading less far above its noise is marked (common practice, no source). Of a multitone, the floor holds hum and
the wander of the clocks as well."""

CLEAR_OF_LEAK_DB = 25.0
"""An order less far above the decay of the next order is marked."""

CLEAR_OF_CHAIN_DB = 10.0
"""An order less far above what electronics and microphone may make is marked: they may change it by 3 dB."""


def caution(reading_db: FloatArray, *floors: tuple[FloatArray, float]) -> BoolArray:
    """Which readings lie less far above one of their floors than they should, `(rows,)`.

    floors   each in dB re what the reading is stated re, `(rows,)`, and how many dB a reading should stand above it

    Where reading or floor is NaN, that floor marks nothing: a leak or a chain that nobody knows may be nothing. Of
    noise that cannot be said; see `near_noise`.
    """
    marked = np.zeros(reading_db.shape, dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        for floor_db, clear_db in floors:
            marked |= reading_db < floor_db + clear_db
    return marked


def near_noise(reading_db: FloatArray, noise_db: FloatArray) -> BoolArray:
    """Which readings lie less than 10 dB above their noise floor, or have none that is known, `(rows,)`."""
    unknown = np.isfinite(reading_db) & np.isnan(noise_db)
    return np.asarray(unknown | caution(reading_db, (noise_db, CLEAR_OF_NOISE_DB)))
