"""What a recording of silence with the loudspeaker off is worth: how loud it is, clicks, hum, and whether it is quieter
than the silences beside the stimuli, when the loudspeaker was on."""

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.multitone.hum_lines import hum_lines
from distort.recording.quality.check_result import CheckResult
from distort.recording.quality.noise import AGREE_DB, octaves_dbfs
from signals.levels import FULL_SCALE_SINE_RMS, db_to_power, power_to_db

FloatArray = npt.NDArray[np.float64]
NAN = float("nan")

LOOK_S = 0.01

CLICKS_FROM_HZ = 1000.0
"""A click is heard above that; below, a lorry may be."""

CLICK_DB = 10.0
"""Over the median of the looks. A hundredth of a second of noise 7 kHz wide scatters by 0.5 dB, and rooms by some dB
(own choice)."""

LOWEST_TONE_HZ = 20.0
"""Below, nobody hears one, and doors and air pressure make what looks like some."""

ALIKE_DB = 0.5
"""What 20 s of noise are not told apart by: an octave of them scatters by 0.3 dB in the lowest ones."""


def check_silence(
    samples: FloatArray, sample_rate: int, *, beside: Sequence[Mapping[str, float]]
) -> tuple[CheckResult, ...]:
    """Findings on `samples` `(n,)`, full scale 1, a second or longer.

    beside   of each silence with the loudspeaker on, made with the same gain and place: its octaves as `octaves_dbfs`
    """
    octaves = octaves_dbfs(samples, sample_rate)
    return (_level(octaves), _clicks(samples, sample_rate), _hum(samples, sample_rate), _against(octaves, beside))


def _sum_dbfs(octaves: Mapping[str, float]) -> float:
    return float(power_to_db(np.sum(db_to_power(list(octaves.values())))))


def _level(octaves: Mapping[str, float]) -> CheckResult:
    level_dbfs = _sum_dbfs(octaves)
    return CheckResult(
        name="level",
        value=level_dbfs,
        unit="dBFS",
        threshold=NAN,
        verdict="good",
        sentence=f"Its noise is {level_dbfs:.1f} dBFS.",
    )


def _clicks(samples: FloatArray, sample_rate: int) -> CheckResult:
    high = scipy.signal.sosfilt(
        scipy.signal.butter(4, CLICKS_FROM_HZ, "highpass", fs=sample_rate, output="sos"), samples
    )
    size = round(LOOK_S * sample_rate)
    power = np.mean(np.square(high[size : high.size // size * size].reshape(-1, size)), axis=1)
    loud = power > 10.0 ** (CLICK_DB / 10.0) * np.median(power)
    first = np.flatnonzero(loud & ~np.concatenate([[False], loud[:-1]]))
    count = int(first.size)
    at = "" if not count else f", the first {(first[0] + 1) * LOOK_S:.1f} s after its beginning"
    clicks = "a click" if count == 1 else f"{count} clicks"
    return CheckResult(
        name="clicks",
        value=float(count),
        unit="clicks",
        threshold=0.0,
        verdict="usable" if count else "good",
        sentence=f"It holds {clicks}{at}: they count as noise, so record it again or cut them away."
        if count
        else "It holds no clicks.",
    )


def _hum(samples: FloatArray, sample_rate: int) -> CheckResult:
    """A figure only: steady tones are left out of hiss."""
    half = samples.size // 2
    tones = hum_lines([samples[:half], samples[half : 2 * half]], sample_rate=sample_rate)
    heard = tones.frequency_hz >= LOWEST_TONE_HZ
    hz, powers = tones.frequency_hz[heard], tones.power[heard]
    power = float(np.sum(powers))
    level_dbfs = float(power_to_db(power / FULL_SCALE_SINE_RMS**2))
    loudest = "" if not power else f", the loudest at {hz[np.argmax(powers)]:.0f} Hz"
    return CheckResult(
        name="hum",
        value=level_dbfs,
        unit="dBFS",
        threshold=NAN,
        verdict="good",
        sentence=f"Steady tones (hum) are at {level_dbfs:.1f} dBFS{loudest}." if power else "No hum stands out.",
    )


def _against(octaves: Mapping[str, float], beside: Sequence[Mapping[str, float]]) -> CheckResult:
    """Whether it is louder than any silence with the loudspeaker on, in some octave, and by how much it is quieter."""
    shared = [name for name in octaves if beside and all(name in one for one in beside)]
    if not shared:
        return CheckResult(
            name="quieter",
            value=NAN,
            unit="dB",
            threshold=AGREE_DB,
            verdict="good",
            sentence="Nothing was recorded with the loudspeaker on at the same gain and place, to hold it against.",
        )
    over_db = {name: octaves[name] - max(one[name] for one in beside) for name in shared}
    most = max(over_db, key=lambda name: over_db[name])
    usual = {name: float(np.median([one[name] for one in beside])) for name in shared}
    quieter_db = _sum_dbfs(usual) - _sum_dbfs({name: octaves[name] for name in shared})
    louder = over_db[most] > AGREE_DB
    alike = f"{quieter_db:.1f} dB quieter than" if quieter_db > ALIKE_DB else "no quieter than"
    return CheckResult(
        name="quieter",
        value=over_db[most],
        unit="dB",
        threshold=AGREE_DB,
        verdict="usable" if louder else "good",
        sentence=f"It is {over_db[most]:.0f} dB louder than with the loudspeaker on about "
        f"{most.removesuffix('hz')} Hz: something else sounded, or the gain was another; record it again."
        if louder
        else f"It is {alike} with the loudspeaker on.",
    )
