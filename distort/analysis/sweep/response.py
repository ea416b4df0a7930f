"""Level and phase of the fundamental over the frequency grid."""

import numpy as np
import numpy.typing as npt

from distort.analysis.common.caution import CLEAR_OF_NOISE_DB, caution
from distort.analysis.common.curves import LevelUnit, Response
from distort.analysis.sweep.orders import SeparatedOrders
from distort.analysis.sweep.readings import Reading
from signals.levels import db_to_power, power_to_db

FloatArray = npt.NDArray[np.float64]

VALID_FROM_RE_START = 2.5
"""Statements about the fundamental hold from this multiple of the sweep's start: below, its fade-in is too near."""

LEAST_PERIODS_BEFORE = 3.0
"""A window that opens fewer periods before the arrival cuts into the fundamental: order 2 of a sweep of 0.77 s was 5 dB
off at one period, of 3.2 s 0.08 dB at three (of curves known in closed form). Order 1 is the tightest, `n ln((n + 1) /
n)` rises with n."""

BEGINS_DB = 10.0
"""A loudspeaker begins where its response is this much below its loudest octave (IEC 60268-5, from memory)."""


def lowest_valid_hz(separated: SeparatedOrders) -> float:
    """Below it the fundamental is not to be read: 2.5 times the start of the sweep, one period of the time gate, or
    where its window opens three periods before the arrival, which binds sweeps under 3 s.

    A gate of T seconds cannot tell frequencies closer than 1 / T apart (common practice, no source).
    """
    from_start = VALID_FROM_RE_START * separated.sweep.start_hz
    window = separated.spectra[0].window
    return max(from_start, 1.0 / window.after_s, LEAST_PERIODS_BEFORE / window.before_s)


def response(
    separated: SeparatedOrders,
    fundamental: Reading,
    *,
    frequency_hz: FloatArray,
    level_offset_db: float,
    unit: LevelUnit,
    arrival_s: float,
) -> Response:
    """The fundamental as level and phase.

    fundamental       reading of order 1 on `frequency_hz` `(rows,)`
    level_offset_db   what turns its power into `unit`: drive plus calibration plus distance
    arrival_s         where the sweep was found in the recording; the phase is stated re this delay
    """
    spectrum = separated.spectra[0]
    values = spectrum.at_arrival()
    bins = np.arange(values.size) * spectrum.bin_hz
    at_rows = np.interp(frequency_hz, bins, values.real) + 1j * np.interp(frequency_hz, bins, values.imag)
    return Response(
        frequency_hz=frequency_hz,
        level_db=power_to_db(fundamental.power) + level_offset_db,
        phase_deg=np.where(np.isfinite(fundamental.power), np.degrees(np.angle(at_rows)), np.nan),
        noise_db=power_to_db(fundamental.noise) + level_offset_db,
        unit=unit,
        delay_s=arrival_s,
        lowest_valid_hz=lowest_valid_hz(separated),
    )


def lower_limit_hz(response: Response) -> float | None:
    """Where the loudspeaker itself begins: the lowest frequency at which its response is no more than 10 dB below the
    loudest octave (IEC 60268-5, effective frequency range, from memory); None where nothing stands clear of its noise.

    Seen from below, so that a dip which the room or a reflection makes above it does not end the range.
    """
    rows = (response.frequency_hz >= response.lowest_valid_hz) & np.isfinite(response.level_db)
    rows &= ~caution(response.level_db, (response.noise_db, CLEAR_OF_NOISE_DB))
    if not rows.any():
        return None
    frequency_hz, power = response.frequency_hz[rows], db_to_power(response.level_db[rows])
    octaves_from = frequency_hz[2.0 * frequency_hz <= frequency_hz[-1]]
    octaves = [power[(frequency_hz >= low_hz) & (frequency_hz < 2.0 * low_hz)] for low_hz in octaves_from]
    loudest = max(float(np.mean(octave)) for octave in octaves or [power])
    return float(frequency_hz[np.flatnonzero(power >= loudest * db_to_power(-BEGINS_DB))[0]])


def band_mean_db(response: Response, band_hz: tuple[float, float]) -> float:
    """Power mean of a response over the rows of the grid inside `band_hz`, in its own unit; NaN without any reading."""
    rows = (response.frequency_hz >= band_hz[0]) & (response.frequency_hz <= band_hz[1])
    level_db = response.level_db[rows & np.isfinite(response.level_db)]
    return float(power_to_db(np.mean(db_to_power(level_db)))) if level_db.size else float("nan")
