"""Three loudspeakers by their equations in time, stepped side by side for many signals: the truth of a synthesis.

    closed    i, x, v: a woofer in a closed box, Bl(x), K(x), Le(x) as powers of x
    vented    and eddy currents (L2 beside R2), flux that follows the current, a port whose loss grows with the flow
    full      a small full-range driver: Bl(x) a bell, an edge that moves by itself on a cubic spring, and Doppler shift

    u = R i + d(Le(x) i)/dt + R2 (i - i2) + Bl v,   L2 di2/dt = R2 (i - i2)
    M dv/dt = (Bl + Le'(x) i / 2) i - D v - K(x) x + S p - coupling
    C dp/dt = -S v - q,   m dq/dt = p - r q - k |q| q

(Klippel, J. Audio Eng. Soc. 54(10), 2006, and Small, J. Audio Eng. Soc. 21, 1973, from memory.) What is heard is
proportional to the acceleration of the volume. Steps are those of Runge and Kutta's fourth-order formula at twice the
sample rate, 10 us, where the shortest time constant is 60 us. The values are of the size that such drivers have (common
practice, no source); none is of a product.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.signal

RATE = 48000
STEPS = 2
SOUND_M_S = 343.0

Rates = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]
"""State `(states, runs)` and voltage `(runs,)` to its rates and to the acceleration of the volume `(runs,)`."""


def closed(state: np.ndarray, volts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Woofer of 45 Hz in free air, 62 Hz in its box."""
    i, x, v = state
    bl = 7.2 * (1.0 + x * (18.0 - 6e3 * x))
    le, fall = 0.5e-3 * (1.0 - 30.0 * x), -0.015
    stiffness = 2600.0 * (1.0 + x * (-14.0 + x * (2.2e4 + 3e8 * x * x)))
    di = (volts - 5.8 * i - (bl + fall * i) * v) / le
    dv = ((bl + 0.5 * fall * i) * i - 1.1 * v - stiffness * x) / 0.017
    return np.array([di, v, dv]), 0.0132 * dv


def vented(state: np.ndarray, volts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Woofer in 25 litres tuned to 42 Hz."""
    i, eddy, x, v, p, q = state
    bl = 8.1 * (1.0 + x * (-12.0 - 4.5e3 * x)) * (1.0 + 0.004 * i)
    le, fall = 0.3e-3 * (1.0 - 22.0 * x), -0.0066
    stiffness = 1250.0 * (1.0 + x * (20.0 + 1.6e4 * x))
    di = (volts - 6.1 * i - 1.9 * (i - eddy) - (bl + fall * i) * v) / le
    dv = ((bl + 0.5 * fall * i) * i - 1.3 * v - stiffness * x + 0.0215 * p) / 0.026
    dp = (-0.0215 * v - q) / 1.76e-7
    dq = (p - 1800.0 * q - 2.0e5 * np.abs(q) * q) / 81.6
    return np.array([di, 1.9 * (i - eddy) / 0.6e-3, v, dv, dp, dq]), 0.0215 * dv + dq


def full(state: np.ndarray, volts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Driver of three inches, 110 Hz in its box; the edge moves by itself about 900 Hz."""
    i, x, v, y, w = state
    away = (x - 0.3e-3) / 4.2e-3
    bl = 4.4 * np.exp(-away * away)
    le, fall = 0.12e-3 * (1.0 - 60.0 * x), -0.0072
    stiffness = 1350.0 * (1.0 + x * (-40.0 + 9e4 * x))
    apart = y - x
    edge = 16.0e3 * apart * (1.0 + 4e7 * apart * apart) + 0.6 * (w - v)
    di = (volts - 3.4 * i - (bl + fall * i) * v) / le
    dv = ((bl + 0.5 * fall * i) * i - 0.45 * v - stiffness * x + edge) / 0.0028
    dw = -edge / 0.0005
    return np.array([di, v, dv, w, dw]), 0.0028 * dv + 0.0005 * dw


@dataclass(frozen=True, kw_only=True)
class Physical:
    """One of them."""

    rates: Rates
    states: int
    volts: float
    """Per full scale."""
    displacement: int
    """Its place among the states."""
    doppler: bool = False


MODELS = {
    "closed box": Physical(rates=closed, states=3, volts=22.0, displacement=1),
    "vented box": Physical(rates=vented, states=6, volts=26.0, displacement=2),
    "small full-range driver": Physical(rates=full, states=5, volts=9.0, displacement=1, doppler=True),
}


def answers(model: Physical, signals: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What is heard of `signals` `(runs, samples)` at RATE, full scale 1, likewise; and the largest displacement, m."""
    window = ("kaiser", 12.0)
    fine = model.volts * scipy.signal.resample_poly(signals.T, 2 * STEPS, 1, window=window)
    state = np.zeros((model.states, signals.shape[0]))
    heard = np.zeros((STEPS * signals.shape[1], signals.shape[0]))
    moved = np.zeros_like(heard)
    step_s = 1.0 / (STEPS * RATE)
    for step in range(heard.shape[0] - 1):
        start, middle, end = fine[2 * step], fine[2 * step + 1], fine[2 * step + 2]
        first, heard[step] = model.rates(state, start)
        moved[step] = state[model.displacement]
        second, _ = model.rates(state + 0.5 * step_s * first, middle)
        third, _ = model.rates(state + 0.5 * step_s * second, middle)
        fourth, _ = model.rates(state + step_s * third, end)
        state = state + step_s / 6.0 * (first + 2.0 * (second + third) + fourth)
    if model.doppler:
        heard = _shifted(heard, moved)
    return scipy.signal.resample_poly(heard, 1, STEPS, axis=0, window=window).T, np.max(np.abs(moved), axis=0)


def _shifted(heard: np.ndarray, moved: np.ndarray) -> np.ndarray:
    """What a cone that comes nearer by `moved` sends arrives so much earlier: to second order of the delay, which is
    under a tenth of a step (4 mm are 12 us)."""
    early = moved / SOUND_M_S * STEPS * RATE
    first, second = np.gradient(heard, axis=0), np.gradient(np.gradient(heard, axis=0), axis=0)
    return heard + early * first + 0.5 * early * early * second
