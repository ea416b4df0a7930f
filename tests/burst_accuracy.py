"""A burst series through loudspeakers whose answer is known: what it finds beside what is true.

Two are curves without memory behind and before gains of their own in every band, heard in a room of 0.3 s with noise:
one saturates softly and alike on both sides, one clips hard, on one side earlier. The third is the simulated
loudspeaker, whose truth is each burst by itself, played cold, without room, noise or window.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy

from distort.analysis.burst import BurstTake, read_bursts
from distort.analysis.burst_series.judged import BurstLevel, judged_levels
from distort.analysis.burst_series.result import BurstResult, burst_result
from distort.analysis.burst_series.steps import Band, bands_after, next_step
from distort.analysis.common.burst_limits import BurstLimits
from distort.analysis.sweep.sweeps import Reference
from distort.capture.simulated import SimulatedMonitor
from distort.capture.simulated.grid import Grid
from distort.capture.simulated.loudspeaker import Loudspeaker, State
from distort.capture.simulated.parameters import Parameters
from distort.recording.quality.examined import examine
from signals import framed
from signals.burst import PERIODS, Burst, BurstSeries, third_octaves_hz
from tests.devices.bursting import MOMENTS, order_amplitudes

RATE = 16000
LOWEST_DB_SPL, FULL_SCALE_DB_SPL = 80.0, 120.0
LIMITS = BurstLimits(max_drive_dbfs=-6.0)
HIGHEST_SHARE = 0.45
BINS = np.linspace(-2.0, 2.0, 41)
TURNS = np.exp(-2j * np.pi * np.outer(MOMENTS, BINS))
ROOM_HZ = np.linspace(0.0, RATE / 2, (1 << 15) + 1)
Shape = Callable[[np.ndarray], np.ndarray]
Heard = Callable[[BurstSeries], tuple[BurstTake, ...]]


def series_through(heard: Heard, whole: BurstSeries, *, full_scale_db: float, lowest_db: float) -> BurstResult:
    """All of a series; `heard` gives what is recorded of bursts."""
    top_db = LIMITS.max_drive_dbfs + full_scale_db
    bands = tuple(Band(frequency_hz=band_hz, drive_top_db_spl=top_db) for band_hz in whole.bands_hz)
    levels: list[BurstLevel] = []
    now = bands
    while (step := next_step(now, lowest_db_spl=lowest_db, references=4 if levels else 0)) is not None:
        drive_dbfs = step.level_db_spl - full_scale_db
        bands_hz = tuple(whole.bands_hz[index] for index in step.bands)
        series = replace(whole, bands_hz=bands_hz, drive_dbfs=drive_dbfs)
        takes = [take for _ in range(1 if levels else 4) for take in heard(series)]
        levels.append(
            BurstLevel(
                level_db_spl=step.level_db_spl,
                drive_db=drive_dbfs,
                played_dbfs=drive_dbfs,
                reading=read_bursts(takes, series),
                reference=Reference(offset_db=full_scale_db, unit="db_spl"),
                takes=len(takes),
            )
        )
        now = bands_after(judged_levels(levels), LIMITS, bands)
    return burst_result(levels, LIMITS)


@dataclass(frozen=True, eq=False)
class CurveLoudspeaker:
    """A curve without memory, in each band between two gains; then a room of 0.3 s and white noise."""

    shape: Shape
    before: np.ndarray
    after: np.ndarray
    noise: float
    seed: int

    @cached_property
    def room(self) -> np.ndarray:
        """Direct sound, and from 5 ms on a tail with a tenth of its energy that decays by 60 dB in 0.3 s."""
        tail = np.random.default_rng([self.seed, 1]).standard_normal(RATE // 3)
        tail *= 10.0 ** (-3.0 * np.arange(RATE // 3) / (0.3 * RATE))
        return np.concatenate([[1.0], np.zeros(79), tail * np.sqrt(0.1 / np.sum(np.square(tail)))])

    @cached_property
    def room_power(self) -> np.ndarray:
        """Power gain of the room at `ROOM_HZ`."""
        return np.square(np.abs(np.fft.rfft(self.room, 2 * (ROOM_HZ.size - 1))))

    def heard(self, whole: BurstSeries) -> Heard:
        """Recordings of bursts of the bands of `whole`."""
        random, room = np.random.default_rng(self.seed), self.room

        def recorded(series: BurstSeries) -> tuple[BurstTake, ...]:
            sound = np.zeros(series.n_samples + RATE)
            for start, burst in zip(series.starts, series.bursts, strict=True):
                band = whole.bands_hz.index(burst.frequency_hz)
                answer = self.after[band] * self.shape(self.before[band] * burst.samples())
                sound[start : start + burst.n_samples] = answer
            sound = np.concatenate([np.zeros(RATE), scipy.signal.fftconvolve(sound, room)])
            sound += self.noise * random.standard_normal(sound.size)
            return (BurstTake(samples=sound, start=float(RATE), silences=(sound[:RATE],), recorded_hz=RATE),)

        return recorded

    def lobes(self, band: int, band_hz: float, drive_dbfs: float) -> np.ndarray:
        """Energies of the orders that a recording at `RATE` holds, up to a common factor, in closed form.

        The amplitude b_n of order n follows the envelope; its spectrum within two bins of 1 / T, T the length of the
        burst, is the order's lobe (f -+ 2 f / m), which is heard through the room at n f.
        """
        known = [order for order in range(1, 9) if order * band_hz <= HIGHEST_SHARE * RATE]
        amplitudes = order_amplitudes(lambda x: self.shape(self.before[band] * x), 10.0 ** (drive_dbfs / 20.0))
        spectra = np.square(np.abs(amplitudes.T @ TURNS))
        weights = [np.interp(order * band_hz + BINS * band_hz / PERIODS, ROOM_HZ, self.room_power) for order in known]
        return np.sum(spectra[: len(known)] * np.array(weights), axis=1)

    def excess_db(self, band: int, band_hz: float, level_db: float) -> dict[str, float]:
        """By how much each limit is passed in truth."""
        drive_dbfs = level_db - FULL_SCALE_DB_SPL
        loud = self.lobes(band, band_hz, drive_dbfs)
        quiet = self.lobes(band, band_hz, LOWEST_DB_SPL - FULL_SCALE_DB_SPL)
        lost_db = level_db - LOWEST_DB_SPL - 10.0 * np.log10(loud[0] / quiet[0])
        orders_db = 10.0 * np.log10(np.maximum(loud[1:] / loud[0], 1e-30))
        over = orders_db - LIMITS.of_orders(range(2, 1 + loud.size)) if loud.size > 1 else orders_db
        orders = {f"h{order}": float(one) for order, one in enumerate(over.tolist(), start=2)}
        return {"compression": float(lost_db - LIMITS.compression_db), **orders}

    def met_db(self, band: int, band_hz: float) -> float:
        """The lowest level at which a limit is met in truth; infinite where the drive ends it before."""
        levels = np.arange(LOWEST_DB_SPL, FULL_SCALE_DB_SPL + LIMITS.max_drive_dbfs + 0.25, 0.25)
        over = [max(self.excess_db(band, band_hz, level).values()) for level in levels]
        first = next((index for index, one in enumerate(over) if one >= 0.0), None)
        if first is None:
            return float("inf")
        if first == 0:
            return LOWEST_DB_SPL
        return float(levels[first] - 0.25 * over[first] / (over[first] - over[first - 1]))


def curve_loudspeaker(kind: str, seed: int, bands: int) -> CurveLoudspeaker:
    """`soft`: A tanh(x / A); `hard`: clipped at A above and between A and 1.6 A below."""
    random = np.random.default_rng([seed, kind == "hard"])
    most = 10.0 ** ((random.uniform(90.0, 104.0) - FULL_SCALE_DB_SPL) / 20.0)
    below = most * random.uniform(1.0, 1.6)
    shapes: dict[str, Shape] = {
        "soft": lambda x: most * np.tanh(x / most),
        "hard": lambda x: np.clip(x, -below, most),
    }
    before, after = (10.0 ** (random.uniform(-4.0, 4.0, bands) / 20.0) for _ in range(2))
    noise_db = LOWEST_DB_SPL - FULL_SCALE_DB_SPL - random.uniform(20.0, 50.0)
    return CurveLoudspeaker(shapes[kind], before, after, 10.0 ** (noise_db / 20.0), seed)


@dataclass(frozen=True)
class Compared:
    """One loudspeaker: errors of those bands of which the quietest level stands 20 dB above the noise."""

    level_error_db: np.ndarray
    """Of where a limit was met, bands that met one in truth and by the series."""
    otherwise: int
    """Bands that met one in truth or by the series alone."""
    compression_error_db: np.ndarray
    """At every level."""
    bands: int


def compare_curve(kind: str, seed: int) -> Compared:
    """The series of one loudspeaker beside its closed form."""
    whole = BurstSeries(bands_hz=third_octaves_hz(100.0, 1600.0), gap_s=0.25, sample_rate=RATE, drive_dbfs=-60.0)
    device = curve_loudspeaker(kind, seed, len(whole.bands_hz))
    result = series_through(device.heard(whole), whole, full_scale_db=FULL_SCALE_DB_SPL, lowest_db=LOWEST_DB_SPL)
    level_errors, otherwise, compression_errors, bands = [], 0, [], 0
    for band, band_hz in enumerate(whole.bands_hz):
        if not _clear(device, band, band_hz, whole):
            continue
        bands += 1
        true_db = device.met_db(band, band_hz)
        found_db = result.level_db_spl[band] if result.limited[band] else np.inf
        if np.isfinite(true_db) and np.isfinite(found_db):
            level_errors.append(found_db - true_db)
        elif np.isfinite(true_db) != np.isfinite(found_db):
            otherwise += 1
        for level in result.levels[1:]:
            if np.isfinite(level.compression_db[band]):
                over = device.excess_db(band, band_hz, level.level_db_spl)["compression"]
                compression_errors.append(level.compression_db[band] - (over + LIMITS.compression_db))
    return Compared(np.array(level_errors), otherwise, np.array(compression_errors), bands)


def _clear(device: CurveLoudspeaker, band: int, band_hz: float, whole: BurstSeries) -> bool:
    """Whether the fundamental of the quietest level, linear, stands 20 dB above the noise in its lobe and window."""
    length_s = whole.periods / band_hz
    amplitude = 10.0 ** ((LOWEST_DB_SPL - FULL_SCALE_DB_SPL) / 20.0) * device.before[band] * device.after[band]
    signal = amplitude**2 / 2.0 * 0.375 * length_s
    noise = device.noise**2 * 2.0 / RATE * 4.0 / length_s * (length_s + whole.gap_s)
    return bool(signal >= 100.0 * noise)


def compare_simulated(bands_hz: tuple[float, ...]) -> Compared:
    """The series of the simulated loudspeaker on its stand, beside each burst by itself."""
    monitor, parameters = SimulatedMonitor(condition="stand", seed=3), Parameters()
    whole = BurstSeries(bands_hz=bands_hz, drive_dbfs=-60.0)
    full_scale_db, lowest_db = 112.0, 82.0  # about its sensitivity: a level is a name for a drive

    def recorded(series: BurstSeries) -> tuple[BurstTake, ...]:
        monitor.rest(60.0)
        reel = framed(series)
        samples = monitor.play_and_record(reel.samples(), sample_rate=series.sample_rate)
        alignment = examine(samples, reel, what="bursts").alignment
        silences = tuple(samples[first:end] for first, end in alignment.silences.spans)
        start = alignment.stimulus_start
        return (BurstTake(samples=samples, start=start, silences=silences, recorded_hz=series.sample_rate),)

    result = series_through(recorded, whole, full_scale_db=full_scale_db, lowest_db=lowest_db)
    level_errors, compression_errors = [], []
    for band, band_hz in enumerate(bands_hz):
        quiet = _alone(parameters, band_hz, lowest_db - full_scale_db)
        true_db = {
            level.level_db_spl: level.level_db_spl
            - lowest_db
            - 10.0 * np.log10(_alone(parameters, band_hz, level.level_db_spl - full_scale_db) / quiet)
            for level in result.levels[1:]
            if np.isfinite(level.compression_db[band])
        }
        compression_errors += [
            level.compression_db[band] - true_db[level.level_db_spl]
            for level in result.levels[1:]
            if level.level_db_spl in true_db
        ]
        if result.ended_by[band] == "compression":
            fine_db = np.arange(result.level_db_spl[band] - 1.5, result.level_db_spl[band] + 1.6, 0.25)
            lost_db = [
                level - lowest_db - 10.0 * np.log10(_alone(parameters, band_hz, level - full_scale_db) / quiet)
                for level in fine_db.tolist()
            ]
            level_errors.append(result.level_db_spl[band] - float(np.interp(LIMITS.compression_db, lost_db, fine_db)))
    return Compared(np.array(level_errors), 0, np.array(compression_errors), len(bands_hz))


def _alone(parameters: Parameters, band_hz: float, drive_dbfs: float) -> float:
    """Energy about f (from f (1 - 2 / m) to f (1 + 2 / m)) of one burst, cold, as it leaves the loudspeaker."""
    burst = Burst(frequency_hz=band_hz, periods=6.5, drive_dbfs=drive_dbfs)
    grid = Grid.for_length(burst.n_samples + burst.sample_rate // 2, burst.sample_rate)
    padded = np.zeros(grid.n_samples)
    padded[: burst.n_samples] = burst.samples()
    sound = Loudspeaker(parameters, grid).play(grid.spectrum(padded), start=State(), settled=False, tolerance=1e-9)
    pressure = np.fft.rfft(grid.samples(sound.pressure))
    frequency_hz = np.fft.rfftfreq(grid.n_samples, 1.0 / burst.sample_rate)
    inside = np.abs(frequency_hz / band_hz - 1.0) <= 2.0 / 6.5
    return float(np.sum(np.square(np.abs(pressure[inside]))))
