"""May this recording be analysed? Every check gives one finding, the worst finding the verdict."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.errors import RecordingError
from distort.recording.alignment.clock import LARGEST_CLOCK_DIFFERENCE
from distort.recording.alignment.locating import Alignment
from distort.recording.kinds import aligned
from distort.recording.quality.check_result import CheckResult, Verdict, worst
from distort.recording.quality.clipping import clipped_samples, held_crests
from distort.recording.quality.continuity import Continuity, continuity
from distort.recording.quality.noise import noise_findings
from distort.recording.quality.not_found import why_not_found
from distort.recording.quality.track import LEAST_AGREEMENT
from signals import Reel
from signals.levels import amplitude_to_db

__all__ = ["CheckResult", "Quality", "Verdict", "check_recording"]

FloatArray = npt.NDArray[np.float64]
NAN = float("nan")

HIGH_PEAK_DBFS = -1.0
"""Headroom of 1 dB: a take of the same drive may come out that much louder by noise and warm-up alone."""

LOW_PEAK_DBFS = -50.0
"""From there down a 16-bit recording's own noise (-98 dBFS) is within 48 dB of the peak, less than the room allows."""

SILENT_DBFS = -90.0
"""One step of 16 bits. A microphone that is switched on gives more than that."""

CLIPPED_USABLE = 6
"""Samples: two flat crests, as a single click makes. A clipped stimulus holds hundreds."""

DC_USABLE = 1e-3
"""Share of full scale: -60 dB, the offset of a poor converter. Analysis removes it; beyond, something is broken."""

DC_REFUSE = 0.1
"""Share of full scale: a dB of headroom is gone on one side, and even orders may come from the converter."""

WIRE_UNEVENNESS = 0.03
"""Scatter of the response between 1 and 11 kHz about its mean, in magnitude and phase together: 0.26 dB. A converter
stays within 0.005; the flattest monitor in a room does not come under 0.1 (its reflections alone make more)."""

CLOCK_SAME_PPM = 0.01
"""Turns the phase at 20 kHz by 0.7 degrees over ten seconds: as good as one clock."""

CLOCK_GOOD_PPM = 200.0
"""Two crystals of 100 ppm each, the usual limit of consumer equipment (common practice, no source)."""

CLOCK_REFUSE_PPM = 1e6 * LARGEST_CLOCK_DIFFERENCE


@dataclass(frozen=True, kw_only=True)
class Quality:
    """Result of the recording-quality check."""

    verdict: Verdict
    findings: tuple[CheckResult, ...]

    def finding(self, name: str) -> CheckResult:
        """The finding of that name. Raises KeyError when that check was not possible."""
        for finding in self.findings:
            if finding.name == name:
                return finding
        raise KeyError(name)

    def troubles(self) -> tuple[CheckResult, ...]:
        """All findings that are not good, in the order of the checks."""
        return tuple(finding for finding in self.findings if finding.verdict != "good")


def check_recording(
    recording: npt.ArrayLike,
    *,
    reel: Reel,
    alignment: Alignment | RecordingError,
    as_stored: npt.ArrayLike | None = None,
    microphone: bool = True,
) -> Quality:
    """Check `recording` `(samples,)`, full scale 1, at the reel's sample rate and before its clock is repaired.

    alignment   what `find_reel` returned for it, or the error that it raised (wrong stimulus, cut off, too short)
    as_stored   the samples before any change of sample rate, which wipes out flat tops; None: the recording itself

    microphone  False for the electronics alone, which are as flat as a wire

    The findings come in this order, as far as they can be had: samples, level, clipping, dc, stimulus (or why it was
    not found: cut_off, channel), channel, continuity (or dropped, repeated), gain, clock, silence, noise_before,
    noise_after, noise_agreement, hum, signal, snr_<mid-band>hz, noise_before_<mid-band>hz, noise_after_<mid-band>hz.
    Raises no RecordingError: a recording that is no good is a verdict.
    """
    samples = np.asarray(recording, dtype=np.float64)
    if samples.ndim != 1:
        raise ValueError(f"check_recording takes one channel (samples,), not an array of shape {samples.shape}")
    stored = samples if as_stored is None else np.asarray(as_stored, dtype=np.float64)
    numbers = _numbers(stored)
    if numbers.verdict == "refuse":
        return Quality(verdict="refuse", findings=(numbers,))
    clipped = _clipped(stored, stored.size / samples.size, reel, alignment)
    findings = [numbers, _level(stored), _clipping(stored, clipped), _dc(stored)]
    if isinstance(alignment, RecordingError):
        findings.append(why_not_found(samples, reel, alignment))
    else:
        along = continuity(samples, reel, alignment)
        findings += [
            _stimulus(along),
            _channel(along, microphone=microphone),
            *(along.findings if along.agreement >= LEAST_AGREEMENT else ()),
            _clock(alignment, along),
            *noise_findings(samples, reel, alignment),
        ]
    return Quality(verdict=worst(tuple(findings)), findings=tuple(findings))


def _clipped(
    stored: FloatArray, rate_ratio: float, reel: Reel, alignment: Alignment | RecordingError
) -> npt.NDArray[np.int64]:
    """Indices of clipped samples of what was stored, at `rate_ratio` times the reel's sample rate; by all that is known
    of the stimulus, when it was found."""
    if isinstance(alignment, RecordingError):
        return clipped_samples(stored)
    _, stimulus = reel.only_stimulus()
    clipped = clipped_samples(stored, whole_sweep=aligned(stimulus).passes)
    if not aligned(stimulus).repeats:
        return clipped
    clock = 0.0 if math.isnan(alignment.clock_difference_ppm) else 1e-6 * alignment.clock_difference_ppm
    held = held_crests(
        stored,
        first=alignment.stimulus_start * rate_ratio,
        period=stimulus.period_samples * rate_ratio * (1.0 + clock),
        periods=stimulus.settling_periods + stimulus.periods,
    )
    return np.union1d(clipped, held)


def _numbers(samples: FloatArray) -> CheckResult:
    bad = np.flatnonzero(~np.isfinite(samples))
    sentence = "All samples are numbers."
    if samples.size == 0:
        sentence = "The recording is empty: record again."
    elif bad.size:
        sentence = (
            f"{bad.size} samples are no numbers (NaN or infinite), the first is sample {bad[0]}: "
            f"export the file again, or record again."
        )
    return CheckResult(
        name="samples",
        value=float(bad.size),
        unit="samples",
        threshold=0.0,
        verdict="refuse" if bad.size or samples.size == 0 else "good",
        sentence=sentence,
    )


def _level(samples: FloatArray) -> CheckResult:
    """Peak about the mean, so that a dead channel with an offset counts as silent."""
    moving_dbfs = float(amplitude_to_db(np.max(np.abs(samples - np.mean(samples)))))
    peak_dbfs = float(amplitude_to_db(np.max(np.abs(samples))))
    verdict: Verdict = "good"
    threshold = HIGH_PEAK_DBFS
    sentence = f"The peak is {peak_dbfs:.1f} dBFS."
    if moving_dbfs < SILENT_DBFS:
        verdict, threshold, peak_dbfs = "refuse", SILENT_DBFS, moving_dbfs
        sentence = "The recording is silent: check the cable, the channel, phantom power and the input gain."
    elif peak_dbfs < LOW_PEAK_DBFS:
        verdict, threshold = "usable", LOW_PEAK_DBFS
        sentence = f"The peak is only {peak_dbfs:.1f} dBFS: turn the input gain up, and calibrate again."
    elif peak_dbfs > HIGH_PEAK_DBFS:
        verdict = "usable"
        sentence = f"The peak is {peak_dbfs:.1f} dBFS, without headroom: turn the input gain down, and calibrate again."
    return CheckResult(
        name="level", value=peak_dbfs, unit="dBFS", threshold=threshold, verdict=verdict, sentence=sentence
    )


def _clipping(samples: FloatArray, clipped: npt.NDArray[np.int64]) -> CheckResult:
    verdict: Verdict = "good"
    sentence = "Nothing is clipped."
    if clipped.size:
        verdict = "usable" if clipped.size <= CLIPPED_USABLE else "refuse"
        peak_dbfs = float(amplitude_to_db(samples[clipped[0]]))
        sentence = (
            f"{clipped.size} samples are clipped at {peak_dbfs:.1f} dBFS, the first is sample {clipped[0]}: "
            f"turn the input gain down, calibrate again, and record again."
        )
    return CheckResult(
        name="clipping",
        value=float(clipped.size),
        unit="samples",
        threshold=float(CLIPPED_USABLE) if verdict == "refuse" else 0.0,
        verdict=verdict,
        sentence=sentence,
    )


def _dc(samples: FloatArray) -> CheckResult:
    share = abs(float(np.mean(samples)))
    verdict: Verdict = "good" if share <= DC_USABLE else "usable" if share <= DC_REFUSE else "refuse"
    return CheckResult(
        name="dc",
        value=100.0 * share,
        unit="% of full scale",
        threshold=100.0 * (DC_REFUSE if verdict == "refuse" else DC_USABLE),
        verdict=verdict,
        sentence=f"The mean is {100.0 * share:.2g} % of full scale"
        + ("." if verdict == "good" else ": the input has an offset; look at the converter or the cable."),
    )


def _stimulus(along: Continuity) -> CheckResult:
    other = along.agreement < LEAST_AGREEMENT
    return CheckResult(
        name="stimulus",
        value=0.0 if other else 1.0,
        unit="found",
        threshold=1.0,
        verdict="refuse" if other else "good",
        sentence="The recording holds another multitone, of the same tones with other phases (another seed or "
        "realisation): give the one that was played, or record again."
        if other
        else "The whole stimulus is in the recording.",
    )


def _channel(along: Continuity, *, microphone: bool) -> CheckResult:
    """A wire is flat from 1 to 11 kHz; no loudspeaker in any room is."""
    wire = along.unevenness < WIRE_UNEVENNESS
    sentence = "This channel heard a loudspeaker."
    if math.isnan(along.unevenness):
        sentence = "Whether this channel heard a loudspeaker cannot be told without the chirps."
    elif wire:
        sentence = "This channel holds the stimulus as it was played" + (
            ", without a loudspeaker or a room: it is a loopback, so take the microphone's channel."
            if microphone
            else "."
        )
    return CheckResult(
        name="channel",
        value=100.0 * (0.0 if math.isnan(along.unevenness) else along.unevenness),
        unit="% uneven",
        threshold=100.0 * WIRE_UNEVENNESS,
        verdict="usable" if wire and microphone else "good",
        sentence=sentence,
    )


def _clock(alignment: Alignment, along: Continuity) -> CheckResult:
    """Of the clocks alone: what was lost or played twice is taken out of it."""
    ppm = along.clock_difference_ppm
    verdict: Verdict = "good"
    threshold = CLOCK_GOOD_PPM
    if math.isnan(ppm):
        verdict = "usable"
        sentence = "The clock chirps were not both found, so the clock difference is unknown: do not trust the phase."
    elif abs(ppm) > CLOCK_REFUSE_PPM:
        verdict, threshold = "refuse", CLOCK_REFUSE_PPM
        sentence = (
            f"Recorder and player drift apart by {ppm:.0f} ppm, more than two clocks can: samples were lost. "
            f"Close other programs, take a larger buffer, and record again."
        )
    elif abs(ppm) <= max(alignment.clock_uncertainty_ppm, CLOCK_SAME_PPM):
        sentence = f"The clocks agree within {max(alignment.clock_uncertainty_ppm, CLOCK_SAME_PPM):.2g} ppm."
    else:
        verdict = "good" if abs(ppm) <= CLOCK_GOOD_PPM else "usable"
        sentence = f"The recorder's clock is {abs(ppm):.3g} ppm {'fast' if ppm >= 0 else 'slow'}; this is repaired."
    return CheckResult(name="clock", value=ppm, unit="ppm", threshold=threshold, verdict=verdict, sentence=sentence)
