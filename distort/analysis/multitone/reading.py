"""One recorded multitone analysed: noise, even-order and odd-order distortion, and the best linear response.

What repeats with the period and what does not is told apart in `blocks`, the clock is seen to in `clock` and `wander`,
steady tones of the room are found in `hum_lines`; band sums are in `powers`, the curves that come of them in `curves`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.multitone.between import NoiseHeard, noise_heard
from distort.analysis.multitone.blocks import BLOCK_PERIODS, HOP_PERIODS, BlockSpectra, block_spectra, block_starts
from distort.analysis.multitone.clock import Steady, on_players_clock, without_wander_in_periods
from distort.analysis.multitone.curves import ClockFound, MultitoneBands, MultitoneResponse, MultitoneResult
from distort.analysis.multitone.draws import EVEN_DB, ODD_DB, draws_variance
from distort.analysis.multitone.hum_lines import hum_lines
from distort.analysis.multitone.in_air import blocks_in_air, only_covered_bands, only_covered_lines
from distort.analysis.multitone.powers import BandPowers, LinePowers, band_powers, line_powers, with_hum, with_wander
from distort.analysis.multitone.wander import FastWander, fast_wander, lines_apart
from distort.analysis.sweep.sweeps import Reference
from distort.analysis.sweep.uncertainty import interval_db
from distort.errors import AnalysisError
from signals import Multitone
from signals.levels import FULL_SCALE_SINE_RMS, power_to_db

FloatArray = npt.NDArray[np.float64]

LEAST_PERIODS = BLOCK_PERIODS + 2 * HOP_PERIODS
"""Three blocks: fewer do not tell noise from what repeats."""


@dataclass(frozen=True, kw_only=True)
class MultitoneTake:
    """One recording of a multitone, as recorded."""

    samples: FloatArray
    """`(samples,)` at the multitone's sample rate, full scale = 1."""
    start: float
    """Where its first sample arrives, samples."""
    clock_difference_ppm: float = 0.0
    """From the chirps, recorder against player; NaN when there were none, and it is found from the lines."""
    silences: tuple[FloatArray, ...] = ()
    """Stretches of the recording that hold noise only: where hum is told from distortion; without any it is not."""


@dataclass(frozen=True, kw_only=True)
class MultitoneReadings:
    """Powers and gains of one multitone recording, before they are made into curves."""

    tone: Multitone
    bands: BandPowers
    lines: LinePowers
    clock: ClockFound
    noise: NoiseHeard | None = None
    """While it sounds and in silence; None without a silence."""


def read_multitone(
    take: MultitoneTake, tone: Multitone, microphone: MicrophoneResponse | None = None
) -> MultitoneReadings:
    """Read one recording, and take `microphone` out of it.

    Raises AnalysisError when the multitone has too few periods, is not held whole, or does not keep its period
    (lost samples, another multitone).
    """
    if tone.periods < LEAST_PERIODS:
        raise AnalysisError(
            f"this multitone has {tone.periods} periods, and at least {LEAST_PERIODS} are needed to tell distortion "
            f"from noise (16 are better): make it again with periods = 16"
        )
    samples = np.asarray(take.samples, dtype=np.float64)
    steady = on_players_clock(samples, tone, start=take.start, clock_difference_ppm=take.clock_difference_ppm)
    spectra = _spectra(steady, tone)
    wander = fast_wander(spectra, tone)
    if wander.found:
        calmer = without_wander_in_periods(samples, tone, steady)
        if calmer is not steady:
            steady, spectra = calmer, _spectra(calmer, tone)
            wander = fast_wander(spectra, tone)
    if microphone is not None:
        spectra = blocks_in_air(spectra, tone, microphone)
    sounds = hum_lines(take.silences, sample_rate=tone.sample_rate)
    if microphone is not None:
        sounds = replace(sounds, power=sounds.power / np.square(microphone.amplitude(sounds.frequency_hz)))
    bands = with_hum(with_wander(band_powers(spectra, tone), tone, wander), tone, sounds)
    lines = line_powers(spectra, tone, late_samples=steady.late_samples)
    if microphone is not None:
        bands, lines = only_covered_bands(bands, microphone), only_covered_lines(lines, tone, microphone)
    return MultitoneReadings(
        tone=tone,
        bands=bands,
        lines=lines,
        clock=_clock_found(steady, wander),
        noise=noise_heard(spectra, tone, silences=take.silences, sounds=sounds, microphone=microphone),
    )


def _spectra(steady: Steady, tone: Multitone) -> BlockSpectra:
    return block_spectra(
        steady.samples,
        first=steady.first,
        period_samples=tone.period_samples,
        periods=tone.periods,
        delays=_block_delays(steady, tone.periods),
        beside_bins=lines_apart(tone),
    )


def _block_delays(steady: Steady, periods: int) -> FloatArray:
    """Mean delay of each block of periods, samples."""
    return np.array([np.mean(steady.period_delays[s : s + BLOCK_PERIODS]) for s in block_starts(periods)])


def _clock_found(steady: Steady, wander: FastWander) -> ClockFound:
    return ClockFound(
        difference_ppm=steady.difference_ppm,
        wander_ppm=steady.wander_ppm,
        repaired=steady.repaired,
        fast_wander=wander.found,
    )


def multitone_result(reads: Sequence[MultitoneReadings], reference: Reference) -> MultitoneResult:
    """The curves of one recording, or the mean of several takes or realisations of one multitone at one drive.

    Powers are averaged, so that the scatter of one draw of phases falls (`draws`); so are complex gains.
    Raises AnalysisError when there is none, or they differ in more than phases and seeds.
    """
    _require_alike(reads)
    bands = _mean_bands([one.bands for one in reads])
    of_draws = _each_draw(reads)
    floors = ("even_noise", "odd_noise", "even_wander", "odd_wander", "even_hum", "odd_hum")
    names = ("lines", "even", "odd", "noise", *floors)
    whole = {name: float(np.nansum(getattr(bands, name))) for name in names}
    return MultitoneResult(
        bands=_bands(bands, reference, of_draws),
        response=_response(reads, reference),
        clock=max((one.clock for one in reads), key=lambda clock: (clock.fast_wander, clock.wander_ppm)),
        level_db=float(_level_db(whole["lines"], reference)),
        distortion_db=_ratio_db(whole["even"] + whole["odd"], whole["lines"]),
        even_db=_ratio_db(whole["even"], whole["lines"]),
        odd_db=_ratio_db(whole["odd"], whole["lines"]),
        noise_db=_ratio_db(whole["noise"], whole["lines"]),
        floor_db=_ratio_db(sum(whole[name] for name in floors), whole["lines"]),
        realisations=len(reads),
        draws=len(of_draws),
    )


def _each_draw(reads: Sequence[MultitoneReadings]) -> list[BandPowers]:
    """The mean of the takes of each draw of phases."""
    draws = dict.fromkeys(one.tone.realisation for one in reads)
    return [_mean_bands([one.bands for one in reads if one.tone.realisation == draw]) for draw in draws]


def _require_alike(reads: Sequence[MultitoneReadings]) -> None:
    if not reads:
        raise AnalysisError("there is no recording of this multitone")
    first = reads[0].tone
    for one in reads[1:]:
        same_lines = np.array_equal(one.tone.line_bins, first.line_bins) and one.tone.period_s == first.period_s
        if not same_lines or one.tone.sample_rate != first.sample_rate or one.tone.drive_dbfs != first.drive_dbfs:
            raise AnalysisError("multitones of other lines or another drive cannot be averaged: analyse them apart")


def _mean_bands(bands: Sequence[BandPowers]) -> BandPowers:
    means = {f.name: np.mean([getattr(one, f.name) for one in bands], axis=0) for f in fields(BandPowers)}
    for name in ("even_variance", "odd_variance"):
        means[name] = means[name] / len(bands)
    return BandPowers(**means)


def _level_db(power: FloatArray | float, reference: Reference) -> FloatArray:
    return np.asarray(power_to_db(np.asarray(power) / FULL_SCALE_SINE_RMS**2) + reference.offset_db)


def _ratio_db(power: float, lines: float) -> float:
    return float(power_to_db(power / lines))


def _bands(bands: BandPowers, reference: Reference, of_draws: Sequence[BandPowers]) -> MultitoneBands:
    lines = np.where(bands.lines > 0, bands.lines, np.nan)
    even_floor = bands.even_noise + bands.even_wander + bands.even_hum
    odd_floor = bands.odd_noise + bands.odd_wander + bands.odd_hum

    def relative_db(power: FloatArray) -> FloatArray:
        return power_to_db(power / lines)

    def relative(variance: FloatArray, power: FloatArray) -> FloatArray:
        return np.asarray(variance / np.square(np.where(power > 0, power, np.nan)))

    of_noise = relative(bands.even_variance, bands.even), relative(bands.odd_variance, bands.odd)
    of_phases = (
        draws_variance(np.array([one.even for one in of_draws]), expected_db=EVEN_DB),
        draws_variance(np.array([one.odd for one in of_draws]), expected_db=ODD_DB),
    )

    return MultitoneBands(
        frequency_hz=bands.frequency_hz,
        unit=reference.unit,
        level_db=np.where(bands.lines > 0, _level_db(bands.lines, reference), np.nan),
        distortion_db=relative_db(bands.even + bands.odd),
        even_db=relative_db(bands.even),
        odd_db=relative_db(bands.odd),
        noise_db=relative_db(bands.noise),
        even_floor_db=relative_db(even_floor),
        odd_floor_db=relative_db(odd_floor),
        even_uncertainty_db=interval_db(of_noise[0] + of_phases[0]),
        odd_uncertainty_db=interval_db(of_noise[1] + of_phases[1]),
        even_noise_uncertainty_db=interval_db(of_noise[0]),
        odd_noise_uncertainty_db=interval_db(of_noise[1]),
    )


def _response(reads: Sequence[MultitoneReadings], reference: Reference) -> MultitoneResponse:
    tone = reads[0].tone
    gain = np.mean([one.lines.gain for one in reads], axis=0)
    noise = np.mean([one.lines.noise for one in reads], axis=0) / len(reads)
    odd = np.mean([one.lines.odd for one in reads], axis=0)
    gain_db = power_to_db(np.square(np.abs(gain)))
    played = 0.5 * np.square(tone.line_amplitudes)
    heard = played * np.square(np.abs(gain))
    with np.errstate(invalid="ignore", divide="ignore"):
        uncertainty_db = interval_db(2.0 * noise / np.where(heard > 0, heard, np.nan))
    return MultitoneResponse(
        frequency_hz=tone.line_hz,
        unit=reference.unit,
        gain_db=gain_db,
        response_db=gain_db + tone.drive_dbfs + reference.offset_db,
        level_db=_level_db(heard, reference),
        phase_deg=np.asarray(np.degrees(np.angle(gain))),
        noise_db=_level_db(noise, reference),
        distortion_db=_level_db(odd, reference),
        uncertainty_db=uncertainty_db,
    )
