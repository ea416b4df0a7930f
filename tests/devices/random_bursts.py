"""Loudspeakers made up band by band, which say of a burst what the analysis would: no sound, no clock.

A band at nominal level L gives the peak L + response, less its compression, a soft knee or a hard limit, plus an
expansion; order n rises by n - 1 dB per dB, or jumps at a level of its own; readings scatter as noise makes them.
"""

import numpy as np

from distort.analysis.burst import ORDERS
from distort.analysis.burst_series.judged import Judged
from distort.analysis.burst_series.steps import BurstStep
from distort.analysis.sweep.noise import NoiseDensity
from distort.capture.measuring.quiet_run import QuietRun
from distort.capture.measuring.third_octaves import ThirdOctaves
from distort.session.plan.keys import Plan
from signals.burst import PEAK_OVER_RMS_DB
from signals.levels import db_to_amplitude

FloatArray = np.ndarray

FIRST_HZ, LAST_HZ = 20.0, 16000.0


class BurstDevice:
    """One loudspeaker, drawn from `rng`, for the levels of `plan`."""

    def __init__(self, rng: np.random.Generator, plan: Plan) -> None:
        self.rng = rng
        self.nominal_of_full_scale_db = float(rng.uniform(100.0, 130.0))
        self.knots_hz = np.geomspace(FIRST_HZ, LAST_HZ, 12)
        self.knots_db = rng.normal(0.0, 5.0, 12)
        count = 40
        lowest = plan.levels.db_spl[0]
        self.onset_db = lowest + rng.uniform(0.0, 40.0, count)
        """Nominal level from which a band compresses."""
        self.hard = rng.random(count) < 0.3
        self.slope = rng.uniform(0.2, 0.9, count)
        self.order_db = -rng.uniform(30.0, 80.0, (len(ORDERS), count))
        self.jump_db = np.where(rng.random(count) < 0.2, lowest + rng.uniform(0.0, 30.0, count), np.inf)
        self.noise_db = rng.uniform(0.0, 0.1)
        self.snr_db = rng.uniform(0.0, 60.0)
        self.expands = float(rng.uniform(0.0, 0.1)) if rng.random() < 0.2 else 0.0
        self.lowest = lowest

    @property
    def expands_db(self) -> float:
        """By how much more than its drive it rises in a step of 2 dB."""
        return 2.0 * self.expands

    def response_db(self, at_hz: FloatArray) -> FloatArray:
        """Re the nominal level."""
        return np.interp(np.log(at_hz), np.log(self.knots_hz), self.knots_db)

    def linear_peak_db(self, step: BurstStep, bands_hz: FloatArray) -> FloatArray:
        """What the bands of a step would give if it stayed as it is when played quietly, peak dB SPL at 1 m."""
        return step.level_db_spl + self.response_db(bands_hz[list(step.bands)]) + PEAK_OVER_RMS_DB

    def judged(self, step: BurstStep, bands_hz: FloatArray, first: dict[int, float]) -> Judged:
        """What the analysis would say; `first` keeps the compression of the quietest level, band by band."""
        bands = list(step.bands)
        over_db = np.maximum(step.level_db_spl - self.onset_db[bands], 0.0)
        lost_db = np.where(self.hard[bands], over_db, self.slope[bands] * over_db)
        lost_db = lost_db - self.expands * (step.level_db_spl - self.lowest)
        for band, one in zip(bands, lost_db.tolist(), strict=True):
            first.setdefault(band, one)
        orders = np.array(ORDERS)[:, np.newaxis]
        harmonics_db = self.order_db[:, bands] + (orders - 1) * (step.level_db_spl - self.lowest)
        harmonics_db = np.where(step.level_db_spl > self.jump_db[bands], -5.0, harmonics_db)
        scatter = self.rng.normal(0.0, self.noise_db, len(bands))
        return Judged(
            level_db_spl=step.level_db_spl,
            played_dbfs=step.level_db_spl - self.nominal_of_full_scale_db,
            frequency_hz=bands_hz[bands],
            peak_db=self.linear_peak_db(step, bands_hz) - lost_db,
            input_peak_dbfs=np.full(len(bands), np.nan),  # a series does not look at it
            compression_db=lost_db - np.array([first[band] for band in bands]) + scatter,
            harmonics_db=np.minimum(harmonics_db, 0.0),
            floor_db=np.full_like(harmonics_db, -self.snr_db - (step.level_db_spl - self.lowest)),
            clear=np.full(len(bands), self.snr_db + self.rng.normal(0.0, 3.0) > 10.0),
        )


def quiet_run_of(device: BurstDevice, bands_hz: FloatArray) -> QuietRun:
    """What the quiet run would have found of it, exactly."""
    at_hz = np.unique(np.concatenate([np.geomspace(FIRST_HZ, LAST_HZ, 400), bands_hz, device.knots_hz]))
    full_scale_db = device.nominal_of_full_scale_db + device.response_db(at_hz)
    none = np.empty(0)
    return QuietRun(
        band_db_spl=device.nominal_of_full_scale_db,
        highest_db_spl=float(np.max(full_scale_db)),
        frequency_hz=at_hz,
        heard_db_spl=full_scale_db,
        answer=ThirdOctaves(drive_dbfs=-46.0, midband_hz=none, output_db_spl=none, noise_db=none),
        offset_db=float(device.rng.uniform(100.0, 140.0)),
        noise=NoiseDensity(frequency_hz=none, density=none, sample_rate=48000, seconds=1.0),
        noise_peak=float(db_to_amplitude(device.rng.uniform(-90.0, -40.0))),
        offset=0.0,
        delay_s=0.0,
    )
