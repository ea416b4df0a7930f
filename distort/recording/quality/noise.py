"""What a recording's silences say: noise before and after, mains hum, and signal-to-noise in octave bands."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.grid import OCTAVE_RATIO
from distort.recording.alignment.locating import Alignment
from distort.recording.alignment.silences import SHORTEST_SILENCE_S
from distort.recording.kinds import aligned
from distort.recording.quality.check_result import CheckResult, Verdict
from signals import Reel
from signals.levels import FULL_SCALE_SINE_RMS, NOTHING_DB, power_to_db

FloatArray = npt.NDArray[np.float64]
NAN = float("nan")

OCTAVE_INDEX = range(-5, 5)
"""31.6 Hz to 15.8 kHz: mid-band frequencies 1000 G^x Hz (IEC 61260-1)."""

LOWEST_NOISE_HZ = 1000.0 * OCTAVE_RATIO**-5.5
"""Lower edge of the lowest octave. Air pressure and footsteps below would drown all else in the figure."""

AGREE_DB = 3.0
"""Two seconds of 30 Hz wide rumble scatter by 0.6 dB: 3 dB is nearly four standard deviations of a difference."""

GOOD_SNR_DB = 40.0
"""The second order's noise floor re the fundamental comes out within 2 dB of the octave's signal-to-noise ratio, at any
sweep length (noise in a window of 0.56 L against a spectrum of L / f): 1 % of distortion then just meets its floor."""

REFUSE_SNR_DB = 20.0
"""In the best octave. With 10 % of distortion at the floor even there, nothing can be said."""

NO_NOISE_DBFS = -160.0
"""No converter is so quiet (rounding to 24 bits alone makes -146 dBFS): what differs there are rounding errors."""

ENERGY_SHARE = 1e-4
"""An octave counts when the stimulus has this share of its energy there: less is its spectrum's skirt."""

HUM_STANDS_OUT_DB = 13.0
"""Of a line over the median of its neighbours. A periodogram's bin of noise passes that by chance once in 1e6."""

GOOD_HUM_DB = -55.0
"""Re the stimulus: as loud as 0.2 % of distortion, and at its frequencies."""

REFUSE_HUM_DB = -10.0
"""Re the stimulus: an earth fault, not a measurement."""

HUM_ORDERS = range(1, 11)


@dataclass(frozen=True)
class _Noise:
    frequency_hz: FloatArray
    density: FloatArray  # full scale squared per hertz

    def power(self, low_hz: float, high_hz: float) -> float:
        inside = (self.frequency_hz >= low_hz) & (self.frequency_hz < high_hz)
        return float(np.sum(self.density[inside])) * float(self.frequency_hz[1] - self.frequency_hz[0])


def noise_findings(samples: FloatArray, reel: Reel, alignment: Alignment) -> tuple[CheckResult, ...]:
    """Noise, agreement, hum and signal-to-noise of `samples` `(n,)`, full scale 1, as aligned."""
    rate = reel.sample_rate
    before, after = _by_side(alignment)
    spans = [span for span in (before, after) if span is not None]
    silence = _silence(before, after, alignment)
    if not spans:
        return (silence,)
    noises = [_noise(samples[first:end], rate) for first, end in spans]
    weights = np.array([end - first for first, end in spans], dtype=np.float64)
    # spans of unlike length have unlike bins: bring all to the grid of the first
    grid = noises[0].frequency_hz
    density = np.average([np.interp(grid, n.frequency_hz, n.density) for n in noises], axis=0, weights=weights)
    noise = _Noise(grid, np.asarray(density))
    levels = [_dbfs(n.power(LOWEST_NOISE_HZ, rate / 2)) for n in noises]
    named = dict(zip([side for side, span in (("before", before), ("after", after)) if span], levels, strict=True))
    return (
        silence,
        *(_level(side, level) for side, level in named.items()),
        *_agreement(named),
        _hum(samples, spans, reel, alignment),
        *_snr(samples, noise, reel, alignment),
        *(one for side, found in zip(named, noises, strict=True) for one in _octave_levels(side, found, rate)),
    )


def _dbfs(power: float) -> float:
    return float(power_to_db(power / FULL_SCALE_SINE_RMS**2))


def _by_side(alignment: Alignment) -> tuple[tuple[int, int] | None, tuple[int, int] | None]:
    """Longest silence before and after the stimulus."""
    before = [span for span in alignment.silences.spans if span[1] <= alignment.stimulus_start]
    after = [span for span in alignment.silences.spans if span[0] > alignment.stimulus_start]
    return (
        max(before, key=lambda span: span[1] - span[0], default=None),
        max(after, key=lambda span: span[1] - span[0], default=None),
    )


def _noise(quiet: FloatArray, rate: int) -> _Noise:
    """Welch's spectral density over half-second segments: 2 Hz apart, eleven bins in the lowest octave."""
    frequency, density = scipy.signal.welch(
        quiet, rate, window="hann", nperseg=min(rate // 2, quiet.size), detrend="constant"
    )
    return _Noise(np.asarray(frequency), np.asarray(density))


def _silence(before: tuple[int, int] | None, after: tuple[int, int] | None, alignment: Alignment) -> CheckResult:
    count = sum(span is not None for span in (before, after))
    sentences = {
        0: _no_silence(alignment),
        1: f"There is silence only {'before' if before else 'after'} the stimulus, so nothing tells whether the noise "
        f"stayed the same.",
        2: "There is silence before and after the stimulus.",
    }
    verdict: Verdict = "good" if count == 2 else "usable"
    return CheckResult(
        name="silence", value=float(count), unit="spans", threshold=2.0, verdict=verdict, sentence=sentences[count]
    )


def _no_silence(alignment: Alignment) -> str:
    if alignment.silences.muted_s >= SHORTEST_SILENCE_S:
        return (
            "Beside the stimulus the recording holds digital zeros, not the noise of the room (a muted recorder, a "
            "noise gate), so its noise floor is not known: switch off whatever suppresses noise, and record again."
        )
    if alignment.silences.ringing_s > 0.0:
        return (
            "The sound had not died away when the recording ended, so its noise floor is not known: record two more "
            "seconds after it."
        )
    return (
        f"There is no silence of {SHORTEST_SILENCE_S:g} s before or after the stimulus, so the noise floor is not "
        f"known: record two seconds of each."
    )


def _level(side: str, level_dbfs: float) -> CheckResult:
    """A figure only: whether noise is too much depends on the signal, and is judged as signal-to-noise."""
    return CheckResult(
        name=f"noise_{side}",
        value=level_dbfs,
        unit="dBFS",
        threshold=NAN,
        verdict="good",
        sentence=f"The noise {side} the stimulus is {level_dbfs:.1f} dBFS from {LOWEST_NOISE_HZ:.0f} Hz up.",
    )


def octaves_dbfs(quiet: FloatArray, rate: int) -> dict[str, float]:
    """Level in dBFS of the noise `(n,)`, full scale 1, in every octave below half the rate, by its name in checks."""
    return _of_octaves(_noise(quiet, rate), rate)


def _of_octaves(noise: _Noise, rate: int) -> dict[str, float]:
    found = {}
    for index in OCTAVE_INDEX:
        middle_hz = 1000.0 * OCTAVE_RATIO**index
        low_hz, high_hz = middle_hz / math.sqrt(OCTAVE_RATIO), middle_hz * math.sqrt(OCTAVE_RATIO)
        if high_hz <= rate / 2:
            found[f"{middle_hz:.0f}hz"] = _dbfs(noise.power(low_hz, high_hz))
    return found


def _octave_levels(side: str, noise: _Noise, rate: int) -> list[CheckResult]:
    """Figures only, as the level of all octaves together."""
    return [
        CheckResult(
            name=f"noise_{side}_{octave}",
            value=level_dbfs,
            unit="dBFS",
            threshold=NAN,
            verdict="good",
            sentence=f"The noise {side} the stimulus is {level_dbfs:.1f} dBFS about {octave.removesuffix('hz')} Hz.",
        )
        for octave, level_dbfs in _of_octaves(noise, rate).items()
    ]


def _agreement(levels_dbfs: dict[str, float]) -> tuple[CheckResult, ...]:
    if len(levels_dbfs) < 2:
        return ()
    difference = levels_dbfs["after"] - levels_dbfs["before"]
    good = abs(difference) <= AGREE_DB or max(levels_dbfs.values()) < NO_NOISE_DBFS
    sentence = (
        f"The noise before and after agrees within {abs(difference):.1f} dB."
        if abs(difference) <= AGREE_DB
        else "There is no noise before or after."
        if good
        else f"The noise is {abs(difference):.1f} dB {'louder' if difference > 0 else 'quieter'} after the stimulus "
        f"than before: something started or stopped, so the noise floors are uncertain by as much."
    )
    return (
        CheckResult(
            name="noise_agreement",
            value=difference,
            unit="dB",
            threshold=AGREE_DB,
            verdict="good" if good else "usable",
            sentence=sentence,
        ),
    )


def _stimulus_span(samples: FloatArray, reel: Reel, alignment: Alignment) -> FloatArray:
    clock = 0.0 if math.isnan(alignment.clock_difference_ppm) else 1e-6 * alignment.clock_difference_ppm
    first = max(round(alignment.stimulus_start), 0)
    return samples[first : first + round(reel.only_stimulus()[1].n_samples * (1.0 + clock))]


def _hum(samples: FloatArray, spans: list[tuple[int, int]], reel: Reel, alignment: Alignment) -> CheckResult:
    """Lines at multiples of 50 and of 60 Hz that stand out of their neighbourhood; the stronger family is reported."""
    spectra = [_line_spectrum(samples[first:end], reel.sample_rate) for first, end in spans]
    powers = {mains_hz: _hum_power(spectra, mains_hz) for mains_hz in (50, 60)}
    mains_hz = max(powers, key=lambda hz: powers[hz])
    stimulus_power = float(np.mean(np.square(_stimulus_span(samples, reel, alignment))))
    relative_db, sentence = NOTHING_DB, "No mains hum stands out of the noise."
    verdict: Verdict = "good"
    if powers[mains_hz] > 0.0 and stimulus_power > 0.0:
        relative_db = float(power_to_db(powers[mains_hz] / stimulus_power))
        verdict = "good" if relative_db <= GOOD_HUM_DB else "usable" if relative_db <= REFUSE_HUM_DB else "refuse"
        sentence = (
            f"Mains hum ({mains_hz} Hz and multiples) is at {_dbfs(powers[mains_hz]):.1f} dBFS, {-relative_db:.0f} dB "
            f"under the stimulus" + (": look for an earth loop or a power supply." if verdict != "good" else ".")
        )
    return CheckResult(
        name="hum",
        value=relative_db,
        unit="dB re stimulus",
        threshold=REFUSE_HUM_DB if verdict == "refuse" else GOOD_HUM_DB,
        verdict=verdict,
        sentence=sentence,
    )


def _line_spectrum(quiet: FloatArray, rate: int) -> tuple[FloatArray, FloatArray]:
    """Frequency and power of each bin up to the highest line; a few samples are left out for a fast transform."""
    tenth = max(rate // 10, 1)
    fast = max(quiet.size // tenth, 1) * tenth  # a round number: whole tenths of a second
    frequency, power = scipy.signal.periodogram(quiet[:fast], rate, window="hann", scaling="spectrum")
    low = frequency <= 60.0 * (HUM_ORDERS[-1] + 1)
    return np.asarray(frequency[low]), np.asarray(power[low])


def _hum_power(spectra: list[tuple[FloatArray, FloatArray]], mains_hz: int) -> float:
    """Power (mean square) of the lines of one family that stand out in every span, mean of the spans."""
    lines = np.array(
        [[_line_power(frequency, power, order * mains_hz) for order in HUM_ORDERS] for frequency, power in spectra]
    )
    return float(np.sum(np.mean(lines, axis=0)[np.all(lines > 0.0, axis=0)]))


def _line_power(frequency: FloatArray, power: FloatArray, line_hz: float) -> float:
    """Power of a line near `line_hz`; 0 when it does not stand out, or the silence is too short to tell."""
    resolution = frequency[1]
    reach = max(1.5 * resolution, 0.004 * line_hz)  # mains frequency stays within 0.4 % (EN 50160: 1 %, seldom reached)
    near = np.abs(frequency - line_hz) <= reach
    around = (np.abs(frequency - line_hz) <= 20.0) & (np.abs(frequency - line_hz) > reach + 2.0 * resolution)
    if not np.any(near) or np.count_nonzero(around) < 8:
        return 0.0
    peak = float(np.max(power[near]))
    background = float(np.median(power[around]))
    return peak if peak > background * 10.0 ** (HUM_STANDS_OUT_DB / 10.0) else 0.0


def _snr(samples: FloatArray, noise: _Noise, reel: Reel, alignment: Alignment) -> tuple[CheckResult, ...]:
    """One finding an octave in which the stimulus sounds, and one for the best of them."""
    heard = _stimulus_span(samples, reel, alignment)
    rate = reel.sample_rate
    frequency, energy = _energy(heard, rate)
    findings = []
    for middle_hz, low_hz, high_hz, seconds in _octaves(reel):
        inside = (frequency >= low_hz) & (frequency < high_hz)
        noise_power = noise.power(low_hz, high_hz)
        signal = (float(np.sum(energy[inside])) - noise_power * heard.size / rate) / seconds
        tiny = 1e-3 * noise_power  # under the noise by so much that it cannot be told from nothing
        snr_db = float(power_to_db(max(signal, tiny)) - power_to_db(noise_power))
        findings.append(_octave_finding(middle_hz, snr_db))
    if not findings:
        return ()
    best = max(findings, key=lambda finding: finding.value)
    verdict: Verdict = "refuse" if best.value < REFUSE_SNR_DB else "good"
    said = (
        "the stimulus hardly stands above the noise: turn the input gain up, silence the room, or come closer."
        if verdict == "refuse"
        else "the stimulus stands above the noise."
    )
    signal_finding = CheckResult(
        name="signal",
        value=best.value,
        unit="dB",
        threshold=REFUSE_SNR_DB,
        verdict=verdict,
        sentence=f"In the best octave the signal-to-noise ratio is {best.value:.0f} dB: {said}",
    )
    return (signal_finding, *findings)


def _energy(samples: FloatArray, sample_rate: int) -> tuple[FloatArray, FloatArray]:
    """Frequencies in Hz, and energies that sum to mean square times seconds.

    Filled up to a good length: of a prime one a transform takes twenty times the memory, and longer.
    """
    length = scipy.fft.next_fast_len(samples.size, real=True)
    energy = np.square(np.abs(scipy.fft.rfft(samples, length))) * 2.0 / length / sample_rate
    return np.asarray(scipy.fft.rfftfreq(length, 1.0 / sample_rate)), energy


def _octaves(reel: Reel) -> list[tuple[float, float, float, float]]:
    """(middle, low, high in Hz, seconds the stimulus spends between) of each octave in which it sounds.

    Low and high are cut to the band that the stimulus covers, so that signal and noise are read over the same band.
    """
    _, stimulus = reel.only_stimulus()
    rate = reel.sample_rate
    kind = aligned(stimulus)
    covered = (0.0, rate / 2) if kind.covered_hz is None else kind.covered_hz(stimulus)
    frequency, energy = _energy(stimulus.samples(), rate)
    octaves = []
    for index in OCTAVE_INDEX:
        middle_hz = 1000.0 * OCTAVE_RATIO**index
        low_hz = max(middle_hz / math.sqrt(OCTAVE_RATIO), covered[0])
        high_hz = min(middle_hz * math.sqrt(OCTAVE_RATIO), covered[1], rate / 2)
        inside = (frequency >= low_hz) & (frequency < high_hz)
        if high_hz <= middle_hz or np.sum(energy[inside]) < ENERGY_SHARE * np.sum(energy):
            continue
        seconds = stimulus.n_samples / rate
        if kind.seconds_in is not None:
            seconds = kind.seconds_in(stimulus, low_hz, high_hz)
        if seconds > 0.0:  # where it never sounds its spectrum has skirts alone
            octaves.append((middle_hz, low_hz, high_hz, seconds))
    return octaves


def _octave_finding(middle_hz: float, snr_db: float) -> CheckResult:
    """Never refuses: a small loudspeaker gives nothing in the lowest octave, and the rest of its recording stands."""
    good = snr_db >= GOOD_SNR_DB
    return CheckResult(
        name=f"snr_{middle_hz:.0f}hz",
        value=snr_db,
        unit="dB",
        threshold=GOOD_SNR_DB,
        verdict="good" if good else "usable",
        sentence=f"Signal-to-noise in the octave about {middle_hz:.0f} Hz is {snr_db:.0f} dB"
        + ("." if good else f", under {GOOD_SNR_DB:.0f} dB: low distortion there will drown in noise."),
    )
