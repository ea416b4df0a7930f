"""The low band's limiter: a detector with attack and release, then a static curve with a soft knee.

The detector works on the square of the signal, not on its magnitude: the square of a tone has no harmonics that could
fold back at its rate.
"""

import math

import numpy as np
import numpy.typing as npt

from distort.capture.simulated.parameters import Limiter

FloatArray = npt.NDArray[np.float64]

FORGET_RELEASES = 16
"""After so many release times nothing that counts is left of what the detector held: exp(-16) is 1e-7."""


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

    `e+ = e + mean of c(d) d` with d = p - e, `c = 1 - exp(-1/(tau rate))`, tau the attack where d is positive and the
    release elsewhere. The mean is over d on a straight line from the last sample to this one: without it the sharp turn
    from attack to release, met only at samples, beats with the signal (-60 dB at 1.5 kHz). The stretch repeats or ends
    in silence, so its last sample stands before the first. Where the knee is never reached, only the last part is
    computed and the rest reads 0.
    """
    attack = -math.expm1(-1.0 / (limiter.attack_s * rate_hz))
    release = -math.expm1(-1.0 / (limiter.release_s * rate_hz))
    idle = _idle_until(power, limiter, rate_hz=rate_hz, start=start)
    held = 0.0 if idle else start
    before = float(power[idle - 1])
    out: list[float] = []
    for now in power[idle:].tolist():
        first, last = before - held, now - held
        if first > 0.0 and last > 0.0:
            held += attack * 0.5 * (first + last)
        elif first <= 0.0 and last <= 0.0:
            held += release * 0.5 * (first + last)
        elif last > first:
            held += 0.5 * (attack * last * last - release * first * first) / (last - first)
        else:
            held += 0.5 * (attack * first * first - release * last * last) / (first - last)
        before = now
        out.append(held)
    return np.concatenate([np.zeros(idle), out])


def _knee_power(limiter: Limiter) -> float:
    """Where the knee begins, re the squared threshold."""
    return float(10.0 ** (-limiter.knee_db / 20.0))


def _idle_until(power: FloatArray, limiter: Limiter, *, rate_hz: float, start: float) -> int:
    """How many first samples need no loop, because the knee is never reached and they are forgotten by the end."""
    if max(start, float(np.max(power))) >= _knee_power(limiter):
        return 0
    return max(0, power.size - math.ceil(FORGET_RELEASES * limiter.release_s * rate_hz))


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
    Where the knee is never reached the gain is 1 whatever the detector holds, and 0 is returned.
    """
    held = float(np.max(power))
    if held < _knee_power(limiter):
        return 0.0
    passes = max(8, math.ceil(40.0 * limiter.release_s * rate_hz / power.size))
    for _ in range(passes):
        last = float(detected(power, limiter, rate_hz=rate_hz, start=held)[-1])
        if abs(last - held) <= 1e-13 * max(last, 1e-30):
            break
        held = last
    return held
