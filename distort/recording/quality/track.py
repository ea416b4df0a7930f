"""Delay and gain along a recording: of the stimulus, piece by piece, and of the last chirp, all re the first chirp."""

import itertools
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.recording.kinds import aligned
from distort.recording.quality.chirp_response import ComplexArray, Markers, Path, as_heard, band_edges_hz, path_of
from signals import Multitone, Reel, Sweep
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]

PHASE_ERROR_RAD = 0.05
"""What a loudspeaker that is driven 10 dB harder may turn the phase of the stimulus against that of the chirps: a
crossover or a resonance whose Q falls by a tenth turns by as much."""

LEAST_LINES = 5
LEAST_AGREEMENT = 0.7
"""Of the phases of a multitone's lines, 1 for those played. Of eleven lines with other phases it passes 0.7 by chance
in 0.5 % of single looks (`exp(-n r^2)`, Rayleigh), in some per cent where the best of a few samples' shift is taken."""

CLEAR_OF_CHANCE = 12.0
"""Of power that products have in common over what they have by chance: chance passes it with the probability exp(-12)
(Rayleigh, from memory), so of ten bands at ten places in a thousandth of all recordings."""

UNKNOWN_DB = 1e3
"""Standard deviation of a gain of which a band that holds noise alone says nothing."""

LONGEST_JUMP_S = 0.05
"""Jumps are sought within this: 2,400 samples at 48 kHz, so a buffer of 2,048."""


@dataclass(frozen=True, kw_only=True)
class Track:
    """Points along the recording, `(points,)` each."""

    share: FloatArray
    """Where: 0 at the first chirp, 1 at the last."""
    delay: FloatArray
    """By how many samples it comes late, after the line from the first chirp to the last has been taken off."""
    delay_sigma: FloatArray
    """Standard deviation of the delay."""
    gain_db: FloatArray
    """Level re the first chirp; a sweep's and a multitone's also hold what the loudspeaker compresses."""
    common_delay_sigma: float
    """Of what all points may have in common against the chirps."""


def track(samples: FloatArray, reel: Reel, found: Markers) -> Track | None:
    """Delay and gain of the stimulus in `samples` `(n,)`; None for stimuli that neither pass each frequency once nor
    repeat a period, and where no band of the chirps holds enough of them or all hold noise alone."""
    _, stimulus = reel.only_stimulus()
    if aligned(stimulus).passes:
        return _sweep_track(samples, reel, found, stimulus)
    if aligned(stimulus).repeats:
        return _multitone_track(samples, reel, found, stimulus)
    return None


def band_gains_db(path: Path, reference: Path, edges_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Level of one path re another in each band, `(bands,)`, and the standard deviation that noise leaves to it.

    Noise in the reference would make every gain look like a loss, and noise in the path like a gain: so neither is
    regressed on the other, but both on what they have in common (Deming, Statistical Adjustment of Data, 1943, from
    memory), the noise of each in proportion to what its signal leaves of white noise.
    """
    gains, sigmas = [], []
    for low_hz, high_hz in itertools.pairwise(edges_hz):
        inside = (path.frequency_hz >= low_hz) & (path.frequency_hz < high_hz)
        one, other = path.values[inside], reference.values[inside]
        ratio = float(np.nanmean(path.noise[inside]) / np.nanmean(reference.noise[inside]))
        power, other_power = (float(np.vdot(each, each).real) for each in (one, other))
        common = max(abs(np.vdot(other, one)), 1e-300)
        apart = power - ratio * other_power
        gain = max((apart + math.hypot(apart, 2.0 * math.sqrt(ratio) * common)) / (2.0 * common), 1e-150)
        left = max(power - 2.0 * gain * common + gain**2 * other_power, 0.0)
        relative = math.sqrt(left / max(gain**2 * other_power, 1e-300))
        gains.append(20.0 * math.log10(gain))
        sigma_db = 8.7 * relative / math.sqrt(max(one.size / 2.0, 1.0))  # half the bins are free: twice padded
        sigmas.append(sigma_db if _in_common(one * np.conj(other)) > CLEAR_OF_CHANCE else UNKNOWN_DB)
    return np.array(gains), np.array(sigmas)


def _in_common(products: ComplexArray) -> float:
    """Power of the sum of a band's products re its mean where their phases are random: of those, half are free."""
    return abs(complex(np.sum(products))) ** 2 / max(2.0 * float(np.sum(np.square(np.abs(products)))), 1e-300)


def _sweep_track(samples: FloatArray, reel: Reel, found: Markers, sweep: Sweep) -> Track | None:
    first, _ = reel.only_stimulus()
    as_played = sweep.samples()
    stretched = as_heard(as_played, found.clock, reel.sample_rate)
    path = path_of(samples, stretched, reel, at=found.arrival(first))
    edges_hz = band_edges_hz(reel)
    edges_hz = edges_hz[(edges_hz >= sweep.full_level_hz) & (edges_hz <= sweep.fade_out_hz)]
    if edges_hz.size < 3:
        return None
    products = np.array([_product(path, found.before, band) for band in itertools.pairwise(edges_hz)])
    delay, sigma = _delays(products, path, edges_hz)
    if not np.any(sigma < round(LONGEST_JUMP_S * path.rate)):
        return None
    gain_db, _ = band_gains_db(path, found.before, edges_hz)
    place = sweep.time_s(np.sqrt(edges_hz[:-1] * edges_hz[1:])) * reel.sample_rate
    if stretched is as_played:  # what so small a clock difference adds until then
        delay = delay - found.clock * place
    return Track(
        share=found.share(first + place),
        delay=delay,
        delay_sigma=sigma,
        gain_db=gain_db,
        common_delay_sigma=0.0,
    )


def _product(path: Path, reference: Path, band_hz: tuple[float, float]) -> ComplexArray:
    inside = (path.frequency_hz >= band_hz[0]) & (path.frequency_hz < band_hz[1])
    return np.asarray(np.where(inside, path.values * np.conj(reference.values), 0.0))


def _delays(products: ComplexArray, path: Path, edges_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Delay of each band's product, `(bands, bins)`, in samples, and its standard deviation.

    A narrow band's correlation has many peaks of nearly one height. So the places to choose from are the highest peaks
    of all bands together and of every three neighbours; each band then has its own phase refine the best of them. Of a
    band that holds noise alone the delay is unknown.
    """
    weights = 1.0 / np.maximum(np.abs(products).sum(axis=1), 1e-300)
    correlations = scipy.fft.irfft(products * weights[:, np.newaxis], path.n_fft)
    reach = round(LONGEST_JUMP_S * path.rate)
    near = np.concatenate([np.arange(reach + 1), np.arange(path.n_fft - reach, path.n_fft)])
    groups = [slice(None), *(slice(first, first + 3) for first in range(max(len(products) - 2, 1)))]
    candidates = {0} | {int(near[np.argmax(correlations[group][:, near].sum(axis=0))]) for group in groups}
    turns = scipy.fft.rfftfreq(path.n_fft)
    delay, sigma = [], []
    for product, correlation, low_hz, high_hz in zip(products, correlations, edges_hz[:-1], edges_hz[1:], strict=True):
        whole = max(candidates, key=lambda place: _best_near(correlation, place))
        whole = whole - path.n_fft if whole > path.n_fft // 2 else whole
        strength = np.abs(product)
        middle = float(np.average(turns, weights=strength))
        turned = product * np.exp(2j * np.pi * turns * whole)
        if _in_common(turned) < CLEAR_OF_CHANCE:  # noise alone, as where a port no longer sounds
            delay.append(0.0)
            sigma.append(float(reach))
            continue
        angle = float(np.angle(np.sum(turned)))
        coherence = abs(np.sum(turned)) / max(float(np.sum(strength)), 1e-300)
        free = (high_hz - low_hz) / path.rate * path.n_fft / 2.0
        phase_sigma = math.hypot(math.sqrt(max(1.0 / max(coherence, 1e-3) ** 2 - 1.0, 0.0) / free), PHASE_ERROR_RAD)
        delay.append(whole - angle / (2.0 * np.pi * middle))
        sigma.append(phase_sigma / (2.0 * np.pi * middle))
    return np.array(delay), np.array(sigma)


def _best_near(correlation: FloatArray, place: int) -> float:
    return float(max(correlation[(place + offset) % correlation.size] for offset in (-1, 0, 1)))


def _multitone_track(samples: FloatArray, reel: Reel, found: Markers, tone: Multitone) -> Track | None:
    """One point a period: its lines against themselves as played, through the path of the first chirp."""
    first, _ = reel.only_stimulus()
    edges_hz = band_edges_hz(reel)
    chosen = np.flatnonzero((tone.line_hz >= edges_hz[0]) & (tone.line_hz <= edges_hz[-1]))
    blocks = tone.settling_periods + tone.periods
    if chosen.size < 3:
        return None
    arrivals = [found.arrival(first + block * tone.period_samples) for block in range(blocks)]
    read = _lines(samples, tone, arrivals, chosen=chosen, clock=found.clock)
    products = _line_products(read, tone, found.before, chosen=chosen)
    turns = tone.line_hz[chosen] / reel.sample_rate
    delay, sigma = _line_delays(products, turns, reach=round(LONGEST_JUMP_S * reel.sample_rate))
    # the room rings on into every period, beyond what the chirp's path holds: alike in all of them
    middle = first + (np.arange(blocks) + 0.5) * tone.period_samples
    power = np.abs(read) ** 2 / np.maximum(np.median(np.abs(read) ** 2, axis=0), 1e-300)
    return Track(
        share=found.share(np.asarray(middle, dtype=np.float64)),
        delay=delay,
        delay_sigma=sigma,
        gain_db=np.asarray(power_to_db(np.exp(np.mean(np.log(np.maximum(power, 1e-30)), axis=1)))),
        common_delay_sigma=2.0 * float(np.median(sigma)) + 0.1,
    )


def multitone_agreement(samples: FloatArray, tone: Multitone, path: Path, *, at: float, clock: float = 0.0) -> float:
    """How well the phases of the lines that begin at sample `at` agree with those played, 0 to 1, of the better of two
    periods; 1 as well when fewer than five lines lie where `path` is known. Another seed's lines agree by chance."""
    chosen = np.flatnonzero((tone.line_hz > path.low_hz) & (tone.line_hz < path.high_hz))
    if chosen.size < LEAST_LINES:
        return 1.0
    arrivals = [at + block * tone.period_samples * (1.0 + clock) for block in range(2)]
    products = _line_products(_lines(samples, tone, arrivals, chosen=chosen, clock=clock), tone, path, chosen=chosen)
    unit = products / np.maximum(np.abs(products), 1e-300)
    turns = np.outer(tone.line_hz[chosen] / path.rate, np.arange(-4.0, 4.25, 0.25))
    return float(np.max(np.abs(unit @ np.exp(2j * np.pi * turns)))) / chosen.size


def _line_products(read: ComplexArray, tone: Multitone, path: Path, *, chosen: npt.NDArray[np.intp]) -> ComplexArray:
    """Lines as read `(periods, lines)` times the conjugate of what the path makes of those played."""
    through = np.interp(tone.line_hz[chosen], path.frequency_hz, path.values)
    played = tone.line_amplitudes[chosen] * np.exp(1j * tone.line_phases_rad[chosen])
    return np.asarray(read * np.conj(through * played))


def _lines(
    samples: FloatArray, tone: Multitone, arrivals: list[float], *, chosen: npt.NDArray[np.intp], clock: float
) -> ComplexArray:
    """Amplitude and phase of the chosen lines in the period from each of `arrivals`, `(periods, lines)`."""
    n = tone.period_samples
    omega = 2.0 * np.pi * tone.line_bins[chosen] / n / (1.0 + clock)
    wave = np.exp(-1j * np.outer(np.arange(n), omega))
    rows = []
    for at in arrivals:
        low = min(max(math.floor(at), 0), samples.size)
        piece = samples[low : low + n]
        rows.append(2.0 / n * (piece @ wave[: piece.size]) * np.exp(1j * omega * (at - low)))
    return np.array(rows)


def _line_delays(products: ComplexArray, turns: FloatArray, *, reach: int) -> tuple[FloatArray, FloatArray]:
    """Delay of each period, `(periods,)`, samples: where its lines' phases agree best."""
    unit = products / np.maximum(np.abs(products), 1e-300)
    shifts = np.arange(-reach, reach + 0.25, 0.5)
    agree = np.real(unit @ np.exp(2j * np.pi * np.outer(turns, shifts)))
    delay, sigma = [], []
    for row, over in zip(unit, agree, strict=True):
        place = float(shifts[np.argmax(over)])
        weight = np.square(turns)
        for _ in range(3):  # the phases left, as a straight line through 0
            angle = np.angle(row * np.exp(2j * np.pi * turns * place))
            place -= float(np.sum(weight * angle / turns) / np.sum(weight)) / (2.0 * np.pi)
        angle = np.angle(row * np.exp(2j * np.pi * turns * place))
        left = max(float(np.sqrt(np.mean(np.square(angle)))), PHASE_ERROR_RAD)
        delay.append(place)
        sigma.append(left / (2.0 * np.pi * math.sqrt(float(np.sum(weight)))))
    return np.array(delay), np.array(sigma)
