"""What is expected of tone bursts that are played loud, and how their recording is held against the quiet run."""

import numpy as np
import numpy.typing as npt

from distort.analysis.burst import BurstTake, read_bursts
from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.sweep.sweeps import Reference
from distort.capture.measuring.playing_takes import Take
from distort.capture.measuring.quiet_run import QuietRun
from distort.capture.measuring.third_octaves import READABLE_ABOVE_NOISE_DB, Louder, ThirdOctaves
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import burst_limits
from signals.burst import PEAK_OVER_RMS_DB, Burst, BurstSeries
from signals.levels import db_to_power, power_to_db

FloatArray = npt.NDArray[np.float64]


def expected_rms_dbfs(quiet: QuietRun, series: BurstSeries) -> float:
    """r.m.s. at the input, dBFS, of a steady sine of the loudest burst's peak: by the response at each band."""
    return float(np.max(heard_db(quiet, np.array(series.bands_hz)))) + series.drive_dbfs - quiet.offset_db


def ceiling_db_spl(plan: Plan) -> float:
    """That of the plan's bursts, as the SPL of a steady sine of the peak that is allowed."""
    return burst_limits(plan).ceiling_db_peak - PEAK_OVER_RMS_DB


def peaks(quiet: QuietRun, series: BurstSeries, moment_s: FloatArray) -> FloatArray:
    """Nothing must be heard at any moment: bursts are shorter than what another stream may delay them by."""
    return np.zeros(moment_s.size)


def held_against(
    quiet: QuietRun, series: BurstSeries, take: Take, reference: Reference
) -> tuple[Louder | None, ThirdOctaves | None]:
    """Burst by burst: where its energy passes most what the response over its lobe foretells, of those that are clear
    of noise. They are no answer in third octaves."""
    alignment = take.examined.alignment
    silences = tuple(take.samples[first:end] for first, end in alignment.silences.spans)
    held = BurstTake(
        samples=take.samples,
        start=alignment.stimulus_start,
        silences=silences,
        recorded_hz=series.sample_rate,
    )
    reading = read_bursts([held], series)
    noise = np.nan_to_num(reading.noise[0])  # one that is not known hides nothing from this
    return louder_than_foretold(quiet, series, energy=reading.energy[0], noise=noise), None


def louder_than_foretold(
    quiet: QuietRun, series: BurstSeries, *, energy: FloatArray, noise: FloatArray
) -> Louder | None:
    """The burst that passes most what the quiet run foretells of it; None where none is clear of noise.

    energy, noise   of the bursts of `series` at the input, `(bands,)`, full scale squared times seconds
    """
    foretold = np.array([_foretold(quiet, burst) for burst in series.bursts])
    clear = energy > noise * db_to_power(READABLE_ABOVE_NOISE_DB)
    if not np.any(clear):
        return None
    by_db = np.where(clear, power_to_db(energy) - power_to_db(foretold), -np.inf)
    most = int(np.argmax(by_db))
    return Louder(by_db=float(by_db[most]), at_hz=series.bands_hz[most])


def _foretold(quiet: QuietRun, burst: Burst) -> float:
    """Energy of a burst at the input, full scale squared times seconds: its spectrum times the response as heard."""
    spectrum = np.fft.rfft(burst.samples(), 8 * burst.n_samples)
    frequency_hz = np.fft.rfftfreq(8 * burst.n_samples, 1.0 / burst.sample_rate)
    inside = (frequency_hz > 0.0) & (np.abs(frequency_hz / burst.frequency_hz - 1.0) <= 2.0 / burst.periods)
    gain = db_to_power(heard_db(quiet, frequency_hz[inside]) - quiet.offset_db)
    density = 2.0 * np.square(np.abs(spectrum[inside])) / burst.sample_rate**2
    return float(np.sum(density * gain) * frequency_hz[1])


def heard_db(quiet: QuietRun, at_hz: FloatArray) -> FloatArray:
    """The response as the microphone heard it; beyond what could be read, the nearest that could."""
    readable = np.isfinite(quiet.heard_db_spl)
    return over_log_frequency(at_hz, quiet.frequency_hz[readable], quiet.heard_db_spl[readable])
