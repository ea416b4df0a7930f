"""A moving-coil driver in a closed box: its equations in time, solved in fine steps, for a sweep and for steady tones.

    u = R i + L(x) di/dt + (dL/dx i + Bl(x)) v
    M dv/dt = (Bl(x) + dL/dx i / 2) i - D v - K(x) x
    Bl, K, L: 1, x, x^2 (and x^4 for K) times constants

(Klippel, J. Audio Eng. Soc. 54(10), 2006, from memory.) The sound pressure is proportional to dv/dt. Steps are those
of Runge and Kutta's fourth-order formula. A steady tone is that period which ends as it began: Newton's method finds
it, from how the end moves with the beginning.
"""

from dataclasses import dataclass

import numpy as np
import scipy

RATE = 6000
STEPS = 4
"""Per sample of a sweep: 42 us, under the shortest time constant L / R, 57 us. At 2 kHz the formula errs by (omega
step)^5 / 120 = 0.0003, 0.003 dB."""

LONGEST_STEP_S = 8e-5
"""Of a steady tone: the formula is stable to 2.8 time constants."""

STATES = 3


@dataclass(frozen=True, kw_only=True)
class Drivers:
    """Several at once, every constant `(drivers,)`; SI units."""

    resistance: np.ndarray
    inductance: np.ndarray
    inductance_slope: np.ndarray
    mass: np.ndarray
    damping: np.ndarray
    stiffness: np.ndarray
    stiffness_slope: np.ndarray
    stiffness_curve: np.ndarray
    stiffness_fourth: np.ndarray
    force_factor: np.ndarray
    force_factor_slope: np.ndarray
    force_factor_curve: np.ndarray
    volts: np.ndarray
    """Per full scale of what is played."""

    def rates(self, state: np.ndarray, played: np.ndarray) -> np.ndarray:
        """d/dt of current, displacement, velocity `(3, drivers)` where `played` of full scale is applied."""
        i, x, v = state
        force = self.force_factor * (1.0 + x * (self.force_factor_slope + x * self.force_factor_curve))
        fall = self.inductance * self.inductance_slope
        spring = self.stiffness * (
            1.0 + x * (self.stiffness_slope + x * (self.stiffness_curve + x * x * self.stiffness_fourth))
        )
        current = self.volts * played - self.resistance * i - (force + fall * i) * v
        push = (force + 0.5 * fall * i) * i - self.damping * v - spring * x
        return np.array([current / (self.inductance + fall * x), v, push / self.mass])

    def of(self, which: np.ndarray) -> "Drivers":
        """Those `which`, in that order."""
        return Drivers(**{name: value[which] for name, value in vars(self).items()})


def drivers(count: int, seed: int, volts: tuple[float, ...]) -> Drivers:
    """`count` woofers drawn at random, each at all of `volts`: driver 0 at every voltage, driver 1, ..."""
    random = np.random.default_rng(seed)

    def drawn(low: float, high: float) -> np.ndarray:
        return np.repeat(random.uniform(low, high, count), len(volts))

    def signed(low: float, high: float) -> np.ndarray:
        return drawn(low, high) * np.repeat(random.choice([-1.0, 1.0], count), len(volts))

    mass, resonance, force, resistance = drawn(0.008, 0.03), drawn(40, 90), drawn(5, 10), drawn(3.5, 7)
    omega = 2 * np.pi * resonance
    return Drivers(
        resistance=resistance,
        inductance=drawn(0.4e-3, 1.2e-3),
        inductance_slope=-drawn(20, 60),
        mass=mass,
        damping=omega * mass / drawn(2, 5),
        stiffness=mass * omega**2,
        stiffness_slope=signed(5, 40),
        stiffness_curve=drawn(1e4, 6e4),
        stiffness_fourth=drawn(1e8, 1e9),
        force_factor=force,
        force_factor_slope=signed(5, 40),
        force_factor_curve=-drawn(2e3, 1.5e4),
        volts=np.tile(np.array(volts), count),
    )


def stepped(
    of: Drivers, state: np.ndarray, played: np.ndarray, seconds: float | np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The state after one step of `seconds`, and dv/dt before; `played` at its beginning, middle, end `(3, 1)`."""
    first = of.rates(state, played[0])
    second = of.rates(state + 0.5 * seconds * first, played[1])
    third = of.rates(state + 0.5 * seconds * second, played[1])
    fourth = of.rates(state + seconds * third, played[2])
    return state + seconds / 6.0 * (first + 2.0 * (second + third) + fourth), first[2]


def played_through(of: Drivers, signal: np.ndarray) -> np.ndarray:
    """dv/dt at RATE for `signal` `(samples,)` at RATE, full scale 1, `(drivers, samples)`."""
    fine = scipy.signal.resample_poly(signal, 2 * STEPS, 1, window=("kaiser", 12.0))
    state = np.zeros((STATES, of.volts.size))
    accelerations = np.empty((STEPS * signal.size, of.volts.size))
    for step in range(STEPS * signal.size - 1):
        at = fine[2 * step : 2 * step + 3, None]
        state, accelerations[step] = stepped(of, state, at, 1.0 / (STEPS * RATE))
    accelerations[-1] = 0.0
    return scipy.signal.resample_poly(accelerations, 1, STEPS, axis=0, window=("kaiser", 12.0)).T


def steady_harmonics(of: Drivers, tone_hz: np.ndarray, amplitude: float, *, steps: int = 256) -> np.ndarray:
    """Amplitudes of harmonics 1 ... 5 of dv/dt for tones of `amplitude` of full scale, `(5, drivers, tones)`."""
    count, tones = of.volts.size, tone_hz.size
    each = of.of(np.repeat(np.arange(count), tones))
    hz = np.tile(tone_hz, count)
    many = max(steps, int(np.ceil(float(np.max(1.0 / hz)) / LONGEST_STEP_S)))
    turn = amplitude * np.sin(np.pi * np.arange(2 * many + 1) / many)

    def period(start: np.ndarray, through: Drivers, hertz: np.ndarray) -> np.ndarray:
        state = start
        for step in range(many):
            state, _ = stepped(through, state, turn[2 * step : 2 * step + 3, None], 1.0 / (many * hertz))
        return state

    start = np.zeros((STATES, hz.size))
    scale = np.array([1e-3, 1e-6, 1e-4])
    four, four_hz = each.of(np.tile(np.arange(hz.size), STATES + 1)), np.tile(hz, STATES + 1)
    for _ in range(30):
        moved = np.concatenate([start, *(start + scale[k] * np.eye(STATES)[k][:, None] for k in range(STATES))], axis=1)
        ends = period(moved, four, four_hz).reshape(STATES, STATES + 1, hz.size)
        jacobian = (ends[:, 1:] - ends[:, :1]) / scale[None, :, None]
        missed = ends[:, 0] - start
        change = np.linalg.solve(np.eye(STATES)[None] - jacobian.transpose(2, 0, 1), missed.T[..., None])[..., 0].T
        start = start + change
        if np.max(np.abs(change) / (np.max(np.abs(start), axis=1, keepdims=True) + 1e-12)) < 1e-10:
            break
    else:
        raise AssertionError("no steady state was found")
    heard = np.empty((many, hz.size))
    state = start
    for step in range(many):
        state, heard[step] = stepped(each, state, turn[2 * step : 2 * step + 3, None], 1.0 / (many * hz))
    return 2.0 / many * np.abs(np.fft.rfft(heard, axis=0)[1:6]).reshape(5, count, tones)
