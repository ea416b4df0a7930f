"""The low band's limiter: a detector with attack and release, then a static curve with a soft knee.

The detector works on the square of the signal, not on its magnitude: the square of a tone has no harmonics that could
fold back at the control rate.
"""

import math

import numpy as np
import numpy.typing as npt

from distort.capture.simulated.parameters import Limiter

FloatArray = npt.NDArray[np.float64]


def reduction_db(level_db: FloatArray, limiter: Limiter) -> FloatArray:
    """Gain reduction in dB (0 or more) for a detected level in dB re the threshold, same shape.

    Linear above the knee: `(1 - 1/ratio) level`; a parabola of matching slope inside it; nothing below.
    """
    slope = 1.0 - 1.0 / limiter.ratio
    inside = np.clip(level_db + limiter.knee_db / 2.0, 0.0, limiter.knee_db)
    above = np.maximum(level_db - limiter.knee_db / 2.0, 0.0)
    return np.asarray(slope * (inside**2 / (2.0 * limiter.knee_db) + above))


def detected(power: FloatArray, limiter: Limiter, *, rate_hz: float, start: float) -> FloatArray:
    """The detector's output `(n,)` for `power` `(n,)`, the squared signal at `rate_hz`; it held `start` before.

    `e+ = e + (1 - exp(-1/(tau rate))) (p - e)` with tau the attack when p is above e, the release otherwise.
    """
    attack = -math.expm1(-1.0 / (limiter.attack_s * rate_hz))
    release = -math.expm1(-1.0 / (limiter.release_s * rate_hz))
    held = start
    out: list[float] = []
    for value in power.tolist():
        difference = value - held
        held += (attack if difference > 0.0 else release) * difference
        out.append(held)
    return np.array(out)


def gain(detected_power: FloatArray, limiter: Limiter) -> FloatArray:
    """Gain (1 or less) for the detector's output re the squared threshold, same shape."""
    level_db = 10.0 * np.log10(np.maximum(detected_power, 1e-30))
    return np.asarray(10.0 ** (-reduction_db(level_db, limiter) / 20.0))


def released(detected_power: float, limiter: Limiter, seconds: float) -> float:
    """What the detector holds after `seconds` of silence."""
    return detected_power * math.exp(-seconds / limiter.release_s)


def settled_start(power: FloatArray, limiter: Limiter, *, rate_hz: float) -> float:
    """What the detector holds at the start of a stretch `power` that repeats for ever.

    Each pass shrinks the difference at least by exp(-length / release); ends when a pass changes nothing that counts.
    """
    held = float(np.max(power))
    passes = max(8, math.ceil(40.0 * limiter.release_s * rate_hz / power.size))
    for _ in range(passes):
        last = float(detected(power, limiter, rate_hz=rate_hz, start=held)[-1])
        if abs(last - held) <= 1e-13 * max(last, 1e-30):
            break
        held = last
    return held
