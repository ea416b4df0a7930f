"""Devices whose answer is known in closed form, run through the real analysis: `distort verify`.

Every check takes the default sweep, in double precision, through the same functions as a recording of a loudspeaker.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.common.curves import Harmonics, Response
from distort.analysis.common.grid import band_edges_hz
from distort.analysis.sweep.sweeps import Reference, Settings, SweepTake, read_sweep, sweep_harmonics, sweep_response
from signals import Sweep, Tone
from signals.levels import db_to_amplitude, rms_dbfs

FloatArray = npt.NDArray[np.float64]

SWEEP = Sweep(drive_dbfs=-6.0)
BEFORE, AFTER = 24000, 96000
"""Samples of silence about the sweep."""


@dataclass(frozen=True, kw_only=True)
class Check:
    """One comparison with a value known in closed form: largest difference found and allowed, in `unit`."""

    name: str
    source: str
    error: float
    allowed: float
    unit: str

    @property
    def passed(self) -> bool:
        """Whether the difference is allowed; a difference that is no number is not."""
        return self.error <= self.allowed


def verify() -> tuple[Check, ...]:
    """Run every check and return what each found."""
    runs = (_wire, _chebyshev, _clipped_sine, _cubic, _levels, _bands)
    return tuple(check for run in runs for check in run())


def _analyse(amplitudes: dict[int, float], orders: int = 10) -> tuple[Harmonics, Response]:
    """Curves of a device that answers a cosine with `amplitudes[n] cos(n phase)`, made so that nothing folds back."""
    growth = np.exp(np.arange(SWEEP.n_samples) / (SWEEP.sample_rate * SWEEP.rate_s))
    phase = 2.0 * np.pi * SWEEP.start_hz * SWEEP.rate_s * (growth - 1.0) - np.pi / 2.0
    at_hz = SWEEP.start_hz * growth
    answer = np.zeros(SWEEP.n_samples)
    for n, amplitude in amplitudes.items():
        fades = SWEEP.envelope(np.minimum(at_hz, 1000.0)) * SWEEP.envelope(np.maximum(n * at_hz, 1000.0))
        answer += amplitude * fades * np.cos(n * phase)
    samples = np.concatenate([np.zeros(BEFORE), db_to_amplitude(SWEEP.drive_dbfs) * answer, np.zeros(AFTER)])
    read = read_sweep([SweepTake(samples=samples, start=float(BEFORE))], SWEEP, Settings(orders=orders))
    return sweep_harmonics(read, Reference()), sweep_response(read, Reference())


def _wire() -> tuple[Check, ...]:
    harmonics, response = _analyse({1: 1.0})
    rows = response.frequency_hz > 24.9
    second, *higher = harmonics.orders
    source = "a wire adds nothing"
    return (
        Check(
            name="Response of a wire, 25 Hz to 20 kHz",
            source=source,
            error=float(np.max(np.abs(response.level_db - SWEEP.drive_dbfs)[rows])),
            allowed=0.02,
            unit="dB",
        ),
        Check(
            name="False second order of a wire, from 20 Hz",
            source=source,
            error=float(np.nanmax(second.relative_db)),
            allowed=-130.0,
            unit="dB",
        ),
        Check(
            name="False orders 3 to 10 of a wire, from 20 Hz",
            source=source,
            error=float(max(np.nanmax(order.relative_db) for order in higher)),
            allowed=-160.0,
            unit="dB",
        ),
    )


def _chebyshev() -> tuple[Check, ...]:
    amplitudes = {n: float(db_to_amplitude(-40.0 - (n - 2) * 55.0 / 8.0)) for n in range(2, 11)}
    harmonics, _ = _analyse({1: 1.0, **amplitudes})
    error = 0.0
    for order in harmonics.orders:
        below = order.order * harmonics.frequency_hz <= 20000.0
        expected_db = 20.0 * math.log10(amplitudes[order.order])
        error = max(error, float(np.max(np.abs(order.relative_db - expected_db)[below])))
    return (
        Check(
            name="Orders 2 to 10 of a Chebyshev curve, from 20 Hz",
            source="T_n(cos t) = cos n t; orders from -40 to -95 dB",
            error=error,
            allowed=0.01,
            unit="dB",
        ),
    )


def _clipped_sine() -> tuple[Check, ...]:
    """A sine clipped at half its peak: b1 = 0.608998, b3 = 0.137832, b5 = 0.0275664 (its Fourier series)."""
    share = 0.5
    theta = math.asin(share)

    def coefficient(n: int) -> float:
        if n == 1:
            return 2.0 / math.pi * (theta + share * math.sqrt(1.0 - share**2))
        inner = math.sin((n - 1) * theta) / (n - 1) - math.sin((n + 1) * theta) / (n + 1)
        return 2.0 / math.pi * inner + 4.0 * share / (math.pi * n) * math.cos(n * theta)

    # sin(n p) is cos(n q) times (-1)^((n - 1) / 2) when p = q + 90 degrees and n is odd
    harmonics, _ = _analyse({n: coefficient(n) * (-1.0) ** ((n - 1) // 2) for n in range(1, 40, 2)})
    rows = (harmonics.frequency_hz > 24.9) & (harmonics.frequency_hz < 3900.0)
    error = max(
        float(np.max(np.abs(harmonics.orders[n - 2].relative_db - 20.0 * math.log10(abs(b) / 0.608998))[rows]))
        for n, b in ((3, 0.137832), (5, 0.0275664))
    )
    return (
        Check(
            name="Orders 3 and 5 of a sine clipped at half its peak",
            source="Fourier series of the clipped sine",
            error=error,
            allowed=0.01,
            unit="dB",
        ),
    )


def _cubic() -> tuple[Check, ...]:
    """y = x + a3 x^3 at 1 dB of compression: |a3| A^2 = 0.144999, third order -27.8139 dB."""
    strength = -0.144999
    gain, third = 1.0 + 0.75 * strength, 0.25 * strength
    harmonics, response = _analyse({1: gain, 3: third})
    rows = (response.frequency_hz > 24.9) & (response.frequency_hz < 6600.0)
    source = "gain 1 + 3/4 a3 A^2, third a3 A^3 / 4"
    return (
        Check(
            name="A cubic at 1 dB of compression: fundamental",
            source=source,
            error=float(np.max(np.abs(response.level_db - SWEEP.drive_dbfs + 1.0)[rows])),
            allowed=0.02,
            unit="dB",
        ),
        Check(
            name="A cubic at 1 dB of compression: third order",
            source=source,
            error=float(np.max(np.abs(harmonics.orders[1].relative_db + 27.8139)[rows])),
            allowed=0.01,
            unit="dB",
        ),
    )


def _levels() -> tuple[Check, ...]:
    tone = Tone(frequency_hz=1000.0, seconds=1.0, fade_s=0.0, drive_dbfs=0.0).samples()
    return (
        Check(
            name="Level of a full-scale sine",
            source="AES17: 0 dBFS",
            error=abs(rms_dbfs(tone)),
            allowed=1e-6,
            unit="dB",
        ),
    )


def _bands() -> tuple[Check, ...]:
    low, high = band_edges_hz(1000.0, bands_per_octave=3)
    return (
        Check(
            name="Edges of the third octave at 1 kHz",
            source="IEC 61260-1: 891.2509 and 1122.0185 Hz",
            error=float(max(abs(low - 891.2509), abs(high - 1122.0185))),
            allowed=1e-4,
            unit="Hz",
        ),
    )
