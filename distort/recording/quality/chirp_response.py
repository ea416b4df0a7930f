"""The path from player to recorder as the clock chirps measure it, and delay and gain of the stimulus against it.

Each chirp is a short sweep of its own: divided by its spectrum it gives the response of loudspeaker and room between
1 and 11 kHz, before and after the stimulus. The stimulus went the same way, so that its response, divided by that of
the first chirp, is 1 at every frequency, and its phase 0, whatever the loudspeaker does to either. What is left is what
changed in between: samples that were lost or played twice, and gains that were turned.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.recording.alignment.clock import repair_clock
from distort.recording.alignment.locating import Alignment
from distort.recording.kinds import aligned
from signals import Reel
from signals.tapers import log_rise, rise

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

BEFORE_S, AFTER_S = 0.06, 0.3
"""How much of a response is looked at before and after its arrival. Before: 2,880 samples at 48 kHz, so that a lost
buffer of 2,048 is still seen; after: room enough for what the room adds, less than any silence of a reel."""

EDGE_S = 0.005

LOWEST_SHARE, HIGHEST_SHARE = 0.034, 0.93
"""Of a chirp's band: where its fades leave a quarter of its amplitude, 900 Hz to 11.2 kHz for the usual one."""

BANDS_PER_OCTAVE = 3

SAME_CLOCK_PPM = 3.0
"""Up to here a signal is taken as played: stretched by so little it turns by under 0.03 radian at 11 kHz within a tenth
of a second, for which one band or one chirp is heard."""


@dataclass(frozen=True, kw_only=True)
class Path:
    """A response on the bins of a real FFT, `(n_fft // 2 + 1,)`, referred to where it is expected to arrive."""

    values: ComplexArray
    noise: FloatArray
    """Power that white noise leaves to each bin, re other paths of the same recording; NaN where nothing is known."""
    n_fft: int
    rate: int
    low_hz: float
    high_hz: float
    """Between which the path is known."""

    @property
    def frequency_hz(self) -> FloatArray:
        """Of every bin."""
        return np.asarray(scipy.fft.rfftfreq(self.n_fft, 1.0 / self.rate))


@dataclass(frozen=True, kw_only=True)
class Markers:
    """What the two chirps say: where and when they are, and the path that each measured."""

    reel: Reel
    clock: float
    """By how much the recorder's clock is believed to be the faster, a ratio less 1."""
    first: float
    """Where the first chirp arrives, samples of the recording."""
    first_in_reel: int
    distance: int
    """From the first to the last chirp, samples of the player."""
    before: Path
    after: Path

    def arrival(self, place_in_reel: float) -> float:
        """Where in the recording the reel's sample `place_in_reel` arrives, by the chirps."""
        return self.first + (place_in_reel - self.first_in_reel) * (1.0 + self.clock)

    def share(self, place_in_reel: FloatArray) -> FloatArray:
        """0 at the first chirp, 1 at the last."""
        return np.asarray((place_in_reel - self.first_in_reel) / self.distance)


def band_edges_hz(reel: Reel) -> FloatArray:
    """Edges of the third octaves over which the reel's chirps are heard, `(bands + 1,)`."""
    _, chirp = reel.chirps()[0]
    span = chirp.high_hz - chirp.low_hz
    low_hz, high_hz = chirp.low_hz + LOWEST_SHARE * span, chirp.low_hz + HIGHEST_SHARE * span
    bands = max(round(BANDS_PER_OCTAVE * math.log2(high_hz / low_hz)), 2)
    return np.asarray(low_hz * (high_hz / low_hz) ** (np.arange(bands + 1) / bands))


def markers(samples: FloatArray, reel: Reel, alignment: Alignment, *, clock: float | None = None) -> Markers | None:
    """The path that both chirps measure in `samples` `(n,)`; None when the reel or the recording lacks one of them.

    clock   what is believed of the recorder's clock, a ratio less 1; None: what the chirps tell
    """
    chirps = reel.chirps()
    if len(chirps) < 2 or math.isnan(alignment.clock_difference_ppm):
        return None
    positions = alignment.chirp_positions
    clock = 1e-6 * alignment.clock_difference_ppm if clock is None else clock
    before, after = (
        path_of(samples, as_heard(chirps[end][1].samples(), clock, reel.sample_rate), reel, at=positions[end])
        for end in (0, -1)
    )
    return Markers(
        reel=reel,
        clock=clock,
        first=positions[0],
        first_in_reel=chirps[0][0],
        distance=chirps[-1][0] - chirps[0][0],
        before=before,
        after=after,
    )


def as_heard(signal: FloatArray, clock: float, sample_rate: int) -> FloatArray:
    """`signal` as a recorder whose clock is `clock` fast writes it; as it is where that makes no difference."""
    if abs(clock) < 1e-6 * SAME_CLOCK_PPM:
        return signal
    return repair_clock(signal, 1e6 * (1.0 / (1.0 + clock) - 1.0), sample_rate)


def path_of(samples: FloatArray, signal: FloatArray, reel: Reel, *, at: float) -> Path:
    """Response to `signal` `(s,)`, which arrives in `samples` `(n,)` at sample `at`, fractions included.

    Its impulse response is cut to `AFTER_S` after that and, so that no harmonic order of a sweep comes in, to a little
    before it; what lies outside the bands of the reel's chirps is left out.
    """
    rate = reel.sample_rate
    before, after, edge = (round(seconds * rate) for seconds in (_before_s(reel), AFTER_S, EDGE_S))
    low, high = max(math.floor(at) - before, 0), min(math.floor(at) + signal.size + after, samples.size)
    size = int(scipy.fft.next_fast_len(signal.size + 2 * (before + after), real=True))
    frequency = scipy.fft.rfftfreq(size)
    edges = band_edges_hz(reel) / rate
    band = log_rise(frequency, from_hz=0.8 * edges[0], to_hz=edges[0]) * log_rise(
        frequency, from_hz=1.05 * edges[-1], to_hz=edges[-1]
    )
    used = band > 0.0
    spectrum = scipy.fft.rfft(signal, size)
    divided = np.zeros_like(spectrum)
    divided[used] = (scipy.fft.rfft(samples[low:high], size)[used] / spectrum[used]) * (
        band[used] * np.exp(2j * np.pi * frequency[used] * (at - low))
    )
    impulse = np.roll(scipy.fft.irfft(divided, size), before)[: before + after]
    from_start = np.arange(impulse.size)
    impulse *= rise(np.minimum(from_start, from_start[::-1] / 4.0) / edge)
    n_fft = int(scipy.fft.next_fast_len(2 * impulse.size, real=True))
    bins = scipy.fft.rfftfreq(n_fft)
    values = scipy.fft.rfft(impulse, n_fft) * np.exp(2j * np.pi * bins * before)
    noise = np.interp(bins, frequency[used], 1.0 / np.square(np.abs(spectrum[used])), left=np.nan, right=np.nan)
    return Path(
        values=np.asarray(values),
        noise=np.asarray(noise),
        n_fft=n_fft,
        rate=rate,
        low_hz=float(edges[0] * rate),
        high_hz=float(edges[-1] * rate),
    )


def _before_s(reel: Reel) -> float:
    _, stimulus = reel.only_stimulus()
    return min(BEFORE_S, 0.35 * stimulus.advance_s(2)) if aligned(stimulus).passes else BEFORE_S
