"""The whole loudspeaker: from what a player sends to the sound pressure at 1 m, straight ahead, without any room."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.capture.simulated import dome, filters, limiter
from distort.capture.simulated.curvature import edge_products, products
from distort.capture.simulated.grid import Grid
from distort.capture.simulated.heat import COLD, Heat, cooled
from distort.capture.simulated.levels import full_scale_pa
from distort.capture.simulated.parameters import Parameters
from distort.capture.simulated.woofer import WooferInBox, middle_band_pa_per_v, pressure_per_volume_acceleration

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

LIMITER_RATE_HZ = 96000
"""About the rate of the detector, in which its turns from attack to release are met finely enough."""


@dataclass(frozen=True, kw_only=True)
class State:
    """What the loudspeaker remembers from one take to the next."""

    woofer: Heat = COLD
    tweeter: Heat = COLD
    detector: float = 0.0
    """What the limiter's detector holds, re its squared threshold."""

    def rested(self, parameters: Parameters, seconds: float) -> "State":
        """The state after `seconds` without a signal."""
        return State(
            woofer=cooled(self.woofer, parameters.woofer.coil, seconds),
            tweeter=cooled(self.tweeter, parameters.tweeter.coil, seconds),
            detector=limiter.released(self.detector, parameters.limiter, seconds),
        )


@dataclass(frozen=True)
class Sound:
    """What was heard, and the state along the way."""

    pressure: ComplexArray
    """Spectrum `(bins,)` on the grid, Pa at 1 m."""
    limiter_gain: FloatArray
    """`(n_samples,)`, 1 where the limiter is idle."""
    woofer_k: FloatArray
    """Rise of coil and of magnet at the woofer's rate, `(2, n_woofer)`."""
    tweeter_k: FloatArray
    """The same for the tweeter at the sample rate, `(2, n_samples)`."""
    detector: FloatArray
    """Output of the limiter's detector, `(n_samples,)`."""
    displacement_m: FloatArray
    """Of the woofer's cone, at its rate, `(n_woofer,)`."""
    port_m_s: FloatArray
    """Speed of the air in the port, `(n_woofer,)`."""

    def state_at(self, sample: int, grid: Grid) -> State:
        """The state at the end of `sample`."""
        low = min(sample // grid.step, grid.n_woofer - 1)
        return State(
            woofer=Heat(coil_k=float(self.woofer_k[0, low]), magnet_k=float(self.woofer_k[1, low])),
            tweeter=Heat(coil_k=float(self.tweeter_k[0, sample]), magnet_k=float(self.tweeter_k[1, sample])),
            detector=float(self.detector[sample]),
        )


def low_band_filter(frequency_hz: FloatArray, parameters: Parameters) -> ComplexArray:
    """Woofer voltage re its middle-band value, `(bins,)`: protection, crossover, equaliser of the coil."""
    electronics, coil = parameters.electronics, parameters.woofer.coil
    corner_hz = coil.resistance_ohm / (2.0 * np.pi * parameters.woofer.inductance_h)
    equaliser = filters.lowpass1(frequency_hz, electronics.coil_equaliser_hz) / filters.lowpass1(
        frequency_hz, corner_hz
    )
    return np.asarray(
        filters.butterworth_highpass4(frequency_hz, electronics.highpass_hz)
        * filters.crossover_lowpass(frequency_hz, electronics.crossover_hz)
        * equaliser
    )


def cone_filter(frequency_hz: FloatArray, parameters: Parameters) -> ComplexArray:
    """What the cone does to the sound of a stiff piston, `(bins,)`: bell mode and decoupling."""
    cone = parameters.cone
    bell = filters.peak(frequency_hz, cone.breakup_hz, q=cone.breakup_q, gain_db=cone.breakup_db)
    return np.asarray(bell * filters.lowpass2(frequency_hz, cone.rolloff_hz, np.sqrt(0.5)))


class Loudspeaker:
    """The loudspeaker on one grid."""

    def __init__(self, parameters: Parameters, grid: Grid) -> None:
        self.parameters, self.grid = parameters, grid
        self.full_scale_pa = full_scale_pa(parameters.electronics.full_scale_db_spl)

    def play(self, spectrum: ComplexArray, *, start: State, settled: bool, tolerance: float) -> Sound:
        """Sound for the played spectrum `(bins,)`, digital full scale 1.

        With `settled` the stretch repeats for ever: heat stays at `start`, the limiter's detector is where it comes
        back to itself. Otherwise both begin at `start`. Raises RecordingError when the woofer does not settle.
        """
        grid, parameters = self.grid, self.parameters
        wave = spectrum * grid.converter * self.full_scale_pa
        low = wave * low_band_filter(grid.frequency_hz, parameters)
        gain, detector = self._limit(low, start=start, settled=settled)
        low_wave = grid.spectrum(grid.samples(low) * gain)
        woofer = WooferInBox(parameters.woofer, parameters.box, grid)
        voltage = low_wave / middle_band_pa_per_v(parameters.woofer)
        motion = woofer.drive(voltage, start=start.woofer, frozen=settled, tolerance=tolerance)
        pressure = motion.volume_acceleration * pressure_per_volume_acceleration()
        pressure += self._cone_products(low_wave)
        pressure *= cone_filter(grid.frequency_hz, parameters)
        high_wave = wave * filters.crossover_highpass(grid.frequency_hz, parameters.electronics.crossover_hz)
        high, *tweeter_k = dome.radiated(high_wave, parameters.tweeter, grid, start=start.tweeter, frozen=settled)
        return Sound(
            pressure=pressure + high,
            limiter_gain=gain,
            woofer_k=np.stack([motion.coil_k, motion.magnet_k]),
            tweeter_k=np.stack(tweeter_k),
            detector=detector,
            displacement_m=motion.displacement_m,
            port_m_s=motion.port_flow / parameters.box.port_area_m2,
        )

    def _cone_products(self, low_wave: ComplexArray) -> ComplexArray:
        """What cone, surround and iron add, spectrum `(bins,)`, Pa at 1 m; below its tuning the box radiates little."""
        grid, parameters = self.grid, self.parameters
        added = products(low_wave, parameters.cone.curve, grid) + edge_products(low_wave, parameters.cone, grid)
        return added * filters.highpass2(grid.frequency_hz, parameters.box.tuning_hz, np.sqrt(0.5))

    def _limit(self, low: ComplexArray, *, start: State, settled: bool) -> tuple[FloatArray, FloatArray]:
        """Gain and detector output, each `(n_samples,)`, for the spectrum of the low band in Pa."""
        grid, table = self.grid, self.parameters.limiter
        factor = max(1, round(LIMITER_RATE_HZ / grid.sample_rate))
        rate_hz = float(factor * grid.sample_rate)
        power = (grid.samples(low, factor * grid.n_samples) / full_scale_pa(table.threshold_db_spl)) ** 2
        held = limiter.settled_start(power, table, rate_hz=rate_hz) if settled else start.detector
        detector = limiter.detected(power, table, rate_hz=rate_hz, start=held)[::factor]
        return limiter.gain(detector, table), detector
