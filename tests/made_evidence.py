"""Evidence in closed form: what every order of a block model is, filter - non-linearity - filter, at every level.

    P_1 = L + b(f) + a(f)        P_n = d_n + n (L + b(f)) - 96 (n - 1) + w a(n f) + s_n(f, L)       dB

with L the level, b and a the filters before and after, w 1 or 0 (whether products leave by the way of the fundamental),
s_n what something makes more. None of it is made by the code under test.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.anomaly import Anomaly, Shape
from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import CHANGE
from distort.analysis.findings.evidence import ChangeCurve, Evidence, OrderCurve

FloatArray = npt.NDArray[np.float64]
Curve = Callable[[FloatArray], FloatArray]
More = Callable[[FloatArray, float], FloatArray]

ROWS_HZ = grid_hz()
LEVELS = (81.0, 86.0, 91.0, 96.0)
TOP_HZ = 20000.0
SPEED_M_S = 343.2
RATIO_DB = {2: -40.0, 3: -50.0, 4: -60.0, 5: -66.0}
"""Of each order at 96 dB, where nothing is."""


def flat(frequency_hz: FloatArray) -> FloatArray:
    """0 dB."""
    return np.zeros_like(frequency_hz)


def bell(at_hz: float, height_db: float, *, octaves: float = 0.12) -> Curve:
    """A dip or peak, Gaussian in log frequency."""
    return lambda f: height_db * np.exp(-0.5 * (np.log2(f / at_hz) / octaves) ** 2)


def comb(first_dip_hz: float, amplitude: float) -> Curve:
    """Of one delayed copy: `20 lg |1 + r exp(-j pi f / f_1)|`."""
    return lambda f: 20.0 * np.log10(np.abs(1.0 + amplitude * np.exp(-1j * np.pi * f / first_dip_hz)))


def ripple(seed: int, rms_db: float) -> Curve:
    """Twenty-four cosines over log frequency, of 0.6 to 2 periods an octave."""
    random = np.random.default_rng(seed)
    rates, phases = random.uniform(0.6, 2.0, 24), random.uniform(0.0, 2.0 * np.pi, 24)
    size = rms_db * np.sqrt(2.0 / 24.0)
    return lambda f: size * np.sum(np.cos(2.0 * np.pi * rates[:, None] * np.log2(f) + phases[:, None]), axis=0)


def anomaly(
    at_hz: float, deviation_db: float, *, shape: Shape = "resonance", number: int = 1, **more: object
) -> Anomaly:
    """A dip or peak as the search for them lists it."""
    plain = Anomaly(
        number=number,
        kind="dip" if deviation_db < 0.0 else "peak",
        frequency_hz=at_hz,
        frequency_uncertainty_hz=0.001 * at_hz,
        deviation_db=deviation_db,
        deviation_uncertainty_db=0.3,
        low_hz=at_hz * 2.0**-0.14,
        high_hz=at_hz * 2.0**0.14,
        width_octaves=0.28,
        q=5.0,
        q_uncertainty=0.3,
        phase="minimum-phase",
        excess_turn=1.0,
        shape=shape,
        path_difference_m=None,
        reflection=None,
        half_wave_m=SPEED_M_S / (2.0 * at_hz),
        quarter_wave_m=SPEED_M_S / (4.0 * at_hz),
        elsewhere="unknown",
        elsewhere_db=None,
        equaliser="unknown",
    )
    return replace(plain, **more)  # type: ignore[arg-type]


def dips_of(first_dip_hz: float, amplitude: float, count: int = 3) -> tuple[Anomaly, ...]:
    """Those of a comb, with what they tell of the copy."""
    path_m = SPEED_M_S / (2.0 * first_dip_hz)
    return tuple(
        anomaly(
            first_dip_hz * (2 * index + 1),
            20.0 * np.log10(1.0 - amplitude),
            shape="interference",
            number=index + 1,
            path_difference_m=path_m,
            reflection=amplitude,
        )
        for index in range(count)
    )


@dataclass(frozen=True, kw_only=True)
class Made:
    """The block model."""

    before: Curve = flat
    after: Curve = flat
    shared: bool = True
    """Products leave by the way of the fundamental."""
    more: Mapping[int, More] = field(default_factory=dict)
    """s_n."""
    anomalies: tuple[Anomaly, ...] = ()
    change: More | None = None
    """Of the level at f, dB."""
    floor_db_spl: float = 0.0
    ripple_db: float = 0.3
    levels: tuple[float, ...] = LEVELS
    seed: int = 1

    def evidence(self) -> Evidence:
        """As the assembly would make it."""
        f, lowest = ROWS_HZ, self.levels[0]
        after = self._after()
        response = np.where(f <= TOP_HZ, lowest + self.before(f) + after(f), np.nan)
        return Evidence(
            frequency_hz=f,
            response_db=response,
            lowest_valid_hz=50.0,
            anomalies=self.anomalies,
            orders=tuple(self._order(number, level, after) for level in self.levels for number in RATIO_DB),
            changes=tuple(self._change(level) for level in self.levels[1:]),
        )

    def _after(self) -> Curve:
        own = ripple(self.seed, self.ripple_db)
        return lambda f: self.after(f) + own(f)

    def _order(self, number: int, level: float, after: Curve) -> OrderCurve:
        f = ROWS_HZ
        fundamental = level + self.before(f) + after(f)
        own = ripple(100 * self.seed + number, self.ripple_db)(f)
        product = 96.0 + RATIO_DB[number] + number * (level - 96.0 + self.before(f)) + own
        product += after(number * f) if self.shared else 0.0
        product += self.more[number](f, level) if number in self.more else 0.0
        product = np.where(number * f <= TOP_HZ, product, np.nan)
        return OrderCurve(
            order=number,
            level_db_spl=level,
            relative_db=product - fundamental,
            fundamental_db=fundamental,
            floor_db=self.floor_db_spl - fundamental,
            uncertainty_db=np.full_like(f, 0.2),
            bias_db=np.zeros_like(f),
        )

    def _change(self, level: float) -> ChangeCurve:
        f = ROWS_HZ
        change = np.zeros_like(f) if self.change is None else self.change(f, level)
        return ChangeCurve(
            quantity=CHANGE,
            level_db_spl=level,
            frequency_hz=f,
            change_db=np.where(f <= TOP_HZ, change, np.nan),
            uncertainty_db=np.full_like(f, 0.03),
            bias_db=np.zeros_like(f),
        )
