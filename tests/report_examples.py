"""Curves as an analysis would hand them on, in simple shapes, so that every number in a table or figure is known."""

import numpy as np

from distort.analysis.common.curves import FloatArray, Harmonics, LevelUnit, Order, Response

FREQUENCY_HZ: FloatArray = 1000.0 * 10.0 ** (np.arange(-136, 105) / 80.0)
"""The grid of all results: 1/24 octave, base ten, 19.953 Hz to 19.953 kHz."""

NYQUIST_HZ = 24000.0


def row_of(frequency_hz: float) -> int:
    """Grid row nearest to a frequency."""
    return int(np.argmin(np.abs(np.log(FREQUENCY_HZ / frequency_hz))))


def response(level_db: float, *, noise_db: float = 20.0, unit: LevelUnit = "db_spl") -> Response:
    """Flat at `level_db` but for a dip of 6 dB at 1 kHz, 1/3 octave wide; noise flat; valid from 25 Hz."""
    dip = -6.0 * np.exp(-0.5 * (np.log2(FREQUENCY_HZ / 1000.0) * 6.0) ** 2)
    return Response(
        frequency_hz=FREQUENCY_HZ,
        level_db=level_db + dip,
        phase_deg=np.zeros_like(FREQUENCY_HZ),
        noise_db=np.full_like(FREQUENCY_HZ, noise_db),
        unit=unit,
        delay_s=0.003,
        lowest_valid_hz=25.0,
    )


def order(number: int, relative_db: FloatArray, *, noise_db: float = -90.0) -> Order:
    """One order; empty above half the sample rate, doubtful within 10 dB of its flat floor."""
    inside = number * FREQUENCY_HZ < NYQUIST_HZ
    reading = np.where(inside, relative_db, np.nan)
    noise = np.where(inside, noise_db, np.nan)
    unknown = np.full_like(FREQUENCY_HZ, np.nan)
    return Order(
        order=number,
        relative_db=reading,
        noise_db=noise,
        leak_db=unknown,
        chain_db=unknown,
        bias_db=unknown,
        uncertainty_db=np.where(inside, 0.2, np.nan),
        noise_uncertainty_db=np.where(inside, 0.1, np.nan),
        level_db=reading + 86.0,
        equivalent_input_db=unknown,
        doubtful=inside & (reading < noise + 10.0),
    )


def harmonics(*, noise_db: float = -90.0, orders: int = 10, lift_db: float = 0.0) -> Harmonics:
    """Order n falls 6 dB an octave from `lift_db - 10 n` dB at 20 Hz to -50 - 3 n, and has a bump at n x 300 Hz."""
    made = []
    for number in range(2, orders + 1):
        slope = lift_db - 10.0 * number - 20.0 * np.log10(FREQUENCY_HZ / 20.0)
        bump = 15.0 * np.exp(-0.5 * (np.log2(FREQUENCY_HZ / (300.0 * number)) * 5.0) ** 2)
        made.append(order(number, np.maximum(slope, lift_db - 50.0 - 3.0 * number) + bump, noise_db=noise_db))
    readings = np.stack([each.relative_db for each in made])
    known = np.isfinite(readings)
    total = np.where(known, 10.0 ** (np.where(known, readings, 0.0) / 10.0), 0.0).sum(axis=0)
    thd_db = np.where(known.any(axis=0), 10.0 * np.log10(np.maximum(total, 1e-30)), np.nan)
    return Harmonics(
        frequency_hz=FREQUENCY_HZ,
        fundamental_db=np.full_like(FREQUENCY_HZ, 86.0),
        unit="db_spl",
        thd_db=thd_db,
        thd_percent=100.0 * 10.0 ** (thd_db / 20.0),
        thd_total_percent=100.0 * np.sqrt(total / (1.0 + total)),
        thd_orders=known.sum(axis=0),
        residual_db=np.full_like(FREQUENCY_HZ, -70.0),
        orders=tuple(made),
    )
