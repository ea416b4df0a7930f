"""How often multitone distortion beyond its prediction is something with memory: random loudspeakers with a limiter,
with curves alone, and with a narrow source.

Each is a filter, a curve and a filter. Of three seeds one has a limiter before them that begins between the lowest and
the highest multitone, and one bends only what a resonance lets pass, beside a wire. Curves are of the second to fourth
power and saturate; they have no memory of the level, however hard they bend. Sweeps of six drives, 5 dB apart, and
multitones of four, without noise; what lies 80 dB below the tones is not read.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.fft

from distort.analysis.multitone.curves import MultitoneBands
from distort.analysis.multitone.powers import band_of_bins
from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.orders import separate
from distort.analysis.synthesis.kernels import ORDERS, step_of
from distort.analysis.synthesis.prediction import MultitoneMeasured, predict
from signals import Multitone, Sweep
from tests.synthesis_study import ALL_ROWS, bands_heard

RATE = 32000
SWEEP = Sweep(seconds=2.0, sample_rate=RATE, stop_hz=15000.0)
TONE = Multitone(period_s=1.0, sample_rate=RATE, settling_periods=1, periods=1, high_hz=13000.0)
SWEEPS_DBFS = (-30.0, -25.0, -20.0, -15.0, -10.0, -5.0)
TONES_DBFS = (-28.0, -23.0, -18.0, -13.0)
START, TAIL = 1600, 8000
FLOOR_DB = -80.0
OVERSAMPLING = 4
KINDS = LIMITER, CURVES, NARROW = ("a limiter", "curves alone", "a narrow source")


@dataclass(frozen=True, kw_only=True)
class Judged:
    """One loudspeaker, and whether distortion with memory was called."""

    kind: str
    called: bool


@dataclass(frozen=True, kw_only=True)
class Loudspeaker:
    """A limiter (None: none), a filter, a curve, a filter; or a wire, and beside it a resonance and a curve."""

    powers: tuple[float, ...]
    """Factors of x^2, x^3, x^4."""
    saturates_at: float
    before_hz: float
    after_hz: float
    threshold_dbfs: float | None
    attack_s: float = 0.01
    release_s: float = 0.1
    resonance_hz: float | None = None
    q: float = 10.0

    def answer(self, played: np.ndarray) -> np.ndarray:
        """What is heard of `played`, circular, so that its end must be silent or its period whole."""
        limited = played if self.threshold_dbfs is None else played * self._gain(played)
        size = limited.size
        at_hz = scipy.fft.rfftfreq(size, 1.0 / RATE)
        before = 1.0 / (1.0 + 1j * at_hz / self.before_hz)
        if self.resonance_hz is not None:
            turns = np.maximum(at_hz, 1.0) / self.resonance_hz
            before = 1.0 / (1.0 + 1j * self.q * (turns - 1.0 / turns))
        fine = scipy.fft.irfft(scipy.fft.rfft(limited) * before, OVERSAMPLING * size) * OVERSAMPLING
        bent = self.saturates_at * np.tanh(fine / self.saturates_at)
        bent = bent + sum(factor * fine**power for power, factor in enumerate(self.powers, 2))
        spectrum = scipy.fft.rfft(bent)[: size // 2 + 1] / OVERSAMPLING
        after = np.asarray(scipy.fft.irfft(spectrum / (1.0 + 1j * at_hz / self.after_hz), size))
        return after if self.resonance_hz is None else played + after

    def _gain(self, played: np.ndarray) -> np.ndarray:
        """A detector of the mean square that rises in `attack_s` and falls in `release_s`; 10:1 above the threshold."""
        rise, fall = (-np.expm1(-1.0 / (time_s * RATE)) for time_s in (self.attack_s, self.release_s))
        held, follows = 0.0, []
        for power in np.square(played).tolist():
            held += (rise if power > held else fall) * (power - held)
            follows.append(held)
        over_db = 10.0 * np.log10(np.maximum(2.0 * np.array(follows), 1e-12)) - (self.threshold_dbfs or 0.0)
        return 10.0 ** (-0.9 * np.maximum(over_db, 0.0) / 20.0)


def loudspeaker(seed: int) -> Loudspeaker:
    """Of every third seed one with a limiter, of every third one with a narrow source."""
    random = np.random.default_rng(seed)
    signs = random.choice((-1.0, 1.0), 3)
    return Loudspeaker(
        powers=tuple(float(one) for one in signs * 10.0 ** random.uniform([-2.5, -2.5, -3.0], [-0.5, -0.5, -1.0])),
        saturates_at=float(10.0 ** random.uniform(-0.5, 1.0)),
        before_hz=float(10.0 ** random.uniform(2.0, 4.3)),
        after_hz=float(10.0 ** random.uniform(3.3, 4.3)),
        threshold_dbfs=float(random.uniform(-25.0, -12.0)) if KINDS[seed % 3] == LIMITER else None,
        attack_s=float(10.0 ** random.uniform(-3.0, -1.5)),
        release_s=float(10.0 ** random.uniform(-1.5, -0.3)),
        resonance_hz=float(10.0 ** random.uniform(2.3, 3.5)) if KINDS[seed % 3] == NARROW else None,
        q=float(random.uniform(3.0, 30.0)),
    )


def judged(seed: int) -> Judged:
    """What the prediction says of one."""
    device = loudspeaker(seed)
    steps = []
    for drive in SWEEPS_DBFS:
        sweep = replace(SWEEP, drive_dbfs=drive)
        size = scipy.fft.next_fast_len(START + sweep.n_samples + TAIL, real=True)
        played = np.zeros(size)
        played[START : START + sweep.n_samples] = sweep.samples()
        separated = separate(deconvolve(device.answer(played), sweep, start=float(START), orders=6), orders=6)
        steps.append(step_of(separated, turned_db=0.0, readable=dict.fromkeys(ORDERS, ALL_ROWS)))
    measured = [_measured(device, replace(TONE, drive_dbfs=drive)) for drive in TONES_DBFS]
    return Judged(kind=KINDS[seed % 3], called=predict(steps, measured).grown is not None)


def _measured(device: Loudspeaker, tone: Multitone) -> MultitoneMeasured:
    """The last of three periods: by then a limiter does the same in each."""
    row = device.answer(np.tile(tone.period(), 3))[2 * RATE :]
    heard = bands_heard(tone, row)
    midbands, _ = band_of_bins(tone)
    floor, unread = np.full(midbands.size, FLOOR_DB), np.full(midbands.size, np.nan)
    bands = MultitoneBands(
        frequency_hz=midbands,
        unit="dbfs",
        level_db=unread,
        distortion_db=unread,
        even_db=heard.even_db,
        odd_db=heard.odd_db,
        noise_db=floor,
        even_floor_db=floor,
        odd_floor_db=floor,
        even_uncertainty_db=unread,
        odd_uncertainty_db=unread,
        even_noise_uncertainty_db=unread,
        odd_noise_uncertainty_db=unread,
    )
    return MultitoneMeasured(level_db_spl=tone.drive_dbfs + 110.0, tone=tone, turned_db=0.0, bands=bands)


def table(found: Sequence[Judged]) -> str:
    """How many of each kind were called."""
    lines = [f"    {'':<16}{'made':>6}{'called':>8}"]
    for kind in KINDS:
        those = [one for one in found if one.kind == kind]
        lines.append(f"    {kind:<16}{len(those):>6}{sum(one.called for one in those):>8}")
    return "\n".join(lines)
