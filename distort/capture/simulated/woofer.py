"""The woofer in its vented box: a linear driver, and the forces and voltages that make it a real one.

With i current, x displacement (outwards), v velocity, p box pressure, q flow out of the port, voltage drive u:

    u = Re i + d(Le(x) i)/dt + Bl(x, i) v
    M dv/dt + R v + K(x) x = Bl(x, i) i + i^2/2 dLe/dx + S p
    C dp/dt + p/Rl = -S v - q
    Mp dq/dt + Rp q + Rq |q| q = p

Whatever differs from a driver with constant parameters is written as a further voltage, flux, force and port pressure
acting on that constant driver; relaxation finds them.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from distort.analysis.common.sound_in_air import speed_of_sound_m_s
from distort.capture.simulated.grid import Grid
from distort.capture.simulated.heat import COLD, Heat, heated, resistance_ohm
from distort.capture.simulated.parameters import AIR_DENSITY_KG_M3, Box, Woofer
from distort.capture.simulated.relaxation import not_settled, settle

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

SOUND_SPEED_M_S = speed_of_sound_m_s(20.0)
"""The box is tuned at 20 degC, wherever the room is measured."""

FARTHEST_M = 0.05
"""No pass of a tone that settles goes near this displacement; beyond it the formulas mean nothing."""

PASSES = 120
"""More than any level up to full scale needs."""


def force_factor_tm(woofer: Woofer, displacement_m: FloatArray) -> FloatArray:
    """Bl(x) without flux modulation, T m."""
    share = (displacement_m - woofer.force_factor_offset_m) / woofer.force_factor_width_m
    return np.asarray(woofer.force_factor_tm * np.exp(-(share**2)))


def stiffness_n_m(woofer: Woofer, displacement_m: FloatArray) -> FloatArray:
    """K(x), N/m: restoring force divided by displacement."""
    curve = woofer.stiffness_slope_per_m + woofer.stiffness_curve_per_m2 * displacement_m
    return np.asarray(woofer.stiffness_n_m * (1.0 + curve * displacement_m))


def inductance_h(woofer: Woofer, displacement_m: FloatArray) -> FloatArray:
    """Le(x), H."""
    return np.asarray(woofer.inductance_h * np.exp(-displacement_m / woofer.inductance_slope_m))


def rest_force_factor_tm(woofer: Woofer) -> float:
    """Bl(0), T m."""
    return float(force_factor_tm(woofer, np.zeros(1))[0])


def pressure_per_volume_acceleration() -> float:
    """Pa at 1 m for 1 m^3/s^2 into a half space: rho / (2 pi r)."""
    return AIR_DENSITY_KG_M3 / (2.0 * np.pi)


def middle_band_pa_per_v(woofer: Woofer) -> float:
    """Pa at 1 m for 1 V where the moving mass alone controls the cold driver: `rho S Bl / (2 pi r Re M)`."""
    push = rest_force_factor_tm(woofer) / (woofer.coil.resistance_ohm * woofer.moving_mass_kg)
    return pressure_per_volume_acceleration() * woofer.area_m2 * push


@dataclass(frozen=True)
class Enclosure:
    """The box as acoustic elements (analogy of pressure and volume flow)."""

    compliance: float
    leak: float
    mass: float
    friction: float
    turbulence: float

    @staticmethod
    def of(box: Box) -> "Enclosure":
        """`C = V/(rho c^2)`, `Mp = 1/(omega^2 C)`, `Rp = omega Mp/Q`, `Rl = Q/(omega C)`, `Rq = k rho/(2 A^2)`."""
        compliance = box.volume_m3 / (AIR_DENSITY_KG_M3 * SOUND_SPEED_M_S**2)
        omega = 2.0 * np.pi * box.tuning_hz
        mass = 1.0 / (omega**2 * compliance)
        return Enclosure(
            compliance=compliance,
            leak=box.leak_q / (omega * compliance),
            mass=mass,
            friction=omega * mass / box.loss_q,
            turbulence=box.port_loss * AIR_DENSITY_KG_M3 / (2.0 * box.port_area_m2**2),
        )


@dataclass(frozen=True)
class LinearDriver:
    """The driver with constant parameters, on the frequency axis `(bins,)`; see the module for the equations."""

    frequency_hz: FloatArray
    woofer: Woofer
    enclosure: Enclosure
    resistance_ohm: float

    @cached_property
    def omega(self) -> FloatArray:
        """Angular frequency."""
        return np.asarray(2.0 * np.pi * self.frequency_hz)

    @cached_property
    def electric(self) -> ComplexArray:
        """Blocked electrical impedance."""
        return np.asarray(self.resistance_ohm + 1j * self.omega * self.woofer.inductance_h)

    @cached_property
    def port(self) -> ComplexArray:
        """Impedance of the port."""
        return np.asarray(1j * self.omega * self.enclosure.mass + self.enclosure.friction)

    @cached_property
    def box_divider(self) -> ComplexArray:
        """`1 + Zport Ybox`."""
        return np.asarray(1.0 + self.port * (1j * self.omega * self.enclosure.compliance + 1.0 / self.enclosure.leak))

    @cached_property
    def force_factor(self) -> float:
        """Bl(0)."""
        return rest_force_factor_tm(self.woofer)

    @cached_property
    def displacement_per_force(self) -> ComplexArray:
        """m/N, with coil and box attached."""
        jw = 1j * self.omega
        stiff = self.woofer.stiffness_n_m + jw * self.woofer.resistance_ns_m + jw**2 * self.woofer.moving_mass_kg
        brake = self.force_factor**2 / self.electric + self.woofer.area_m2**2 * self.port / self.box_divider
        return np.asarray(1.0 / (stiff + jw * brake))

    def respond(
        self, voltage: ComplexArray, force: ComplexArray | float = 0.0, port_pressure: ComplexArray | float = 0.0
    ) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
        """Spectra of current, displacement, velocity and port flow for those of voltage, force and port pressure."""
        push = self.force_factor * voltage / self.electric + force
        push = push - self.woofer.area_m2 * port_pressure / self.box_divider
        displacement = push * self.displacement_per_force
        velocity = 1j * self.omega * displacement
        current = (voltage - self.force_factor * velocity) / self.electric
        pressure = -(self.woofer.area_m2 * velocity * self.port + port_pressure) / self.box_divider
        return current, displacement, velocity, (pressure + port_pressure) / self.port

    def volume_acceleration(self, velocity: ComplexArray, flow: ComplexArray) -> ComplexArray:
        """Spectrum of what cone and port radiate together, m^3/s^2."""
        return np.asarray(1j * self.omega * (self.woofer.area_m2 * velocity + flow))


@dataclass(frozen=True)
class WooferMotion:
    """What the woofer did."""

    volume_acceleration: ComplexArray
    """Spectrum `(bins,)` on the grid."""
    displacement_m: FloatArray
    """`(n_woofer,)`."""
    port_flow: FloatArray
    """Through the port, m^3/s, `(n_woofer,)`."""
    coil_k: FloatArray
    """Rise of the coil above its magnet, `(n_woofer,)`."""
    magnet_k: FloatArray
    """Rise of the magnet above the air, `(n_woofer,)`."""


class WooferInBox:
    """One woofer on one grid."""

    def __init__(self, woofer: Woofer, box: Box, grid: Grid) -> None:
        self.woofer, self.grid = woofer, grid
        self.enclosure = Enclosure.of(box)

    def driver(self, frequency_hz: FloatArray, *, start: Heat = COLD) -> LinearDriver:
        """The driver as it is at rest and at the temperature `start`, on `frequency_hz` `(bins,)`."""
        return LinearDriver(
            frequency_hz,
            self.woofer,
            self.enclosure,
            resistance_ohm=float(resistance_ohm(self.woofer.coil, np.array(start.total_k))),
        )

    def drive(self, voltage: ComplexArray, *, start: Heat, frozen: bool, tolerance: float) -> WooferMotion:
        """Motion for the spectrum `voltage` `(bins,)` in volts.

        The coil begins at `start` and heats, or stays there when `frozen`. Raises RecordingError when the relaxation
        does not settle.
        """
        grid = self.grid
        driver = self.driver(grid.frequency_hz, start=start)
        _, _, velocity, linear_flow = driver.respond(voltage)
        radiated = driver.volume_acceleration(velocity, linear_flow)
        problem = _Relaxation(self, voltage[: grid.woofer_hz.size] * grid.woofer_band, start, frozen)
        if not np.any(voltage):
            extra = np.zeros((4, grid.n_woofer))
        else:
            extra = settle(problem.one_pass, problem.first, scale=problem.scale, tolerance=tolerance, passes=PASSES)
        radiated[: grid.woofer_hz.size] += problem.extra_acceleration(extra)
        current, displacement, _, flow = problem.motion(extra)
        return WooferMotion(radiated, displacement, flow, *problem.heat(current))


class _Relaxation:
    """One pass of the relaxation: from the extra voltage, flux, force and port pressure `(4, n)` to better ones."""

    def __init__(self, owner: WooferInBox, voltage: ComplexArray, start: Heat, frozen: bool) -> None:
        self.woofer, self.grid, self.voltage = owner.woofer, owner.grid, voltage
        self.start, self.frozen = start, frozen
        self.driver = owner.driver(owner.grid.woofer_hz, start=start)
        self.turbulence = owner.enclosure.turbulence
        self.first = np.zeros((4, owner.grid.n_woofer))
        self.scale = self._scale()

    def _scale(self) -> FloatArray:
        peak_v = float(np.max(np.abs(self.grid.samples(self.voltage, self.grid.n_woofer)))) or 1.0
        peak_a = peak_v / self.driver.resistance_ohm
        flow = self.grid.samples(self.driver.respond(self.voltage)[3], self.grid.n_woofer)
        peak_flow = float(np.max(np.abs(flow))) or 1.0
        return np.array(
            [
                peak_v,
                peak_a * self.woofer.inductance_h,
                peak_a * self.driver.force_factor,
                max(self.turbulence * peak_flow, self.driver.enclosure.friction) * peak_flow,
            ]
        )

    def spectra(self, extra: FloatArray) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
        """Spectra of the extra voltage (flux included), force and port pressure."""
        band = self.grid.woofer_band
        voltage, flux, force, port = (self.grid.spectrum(row)[: band.size] * band for row in extra)
        return np.asarray(voltage - 1j * self.driver.omega * flux), force, port

    def motion(self, extra: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Current, displacement, velocity and port flow, each `(n,)`."""
        voltage, force, port = self.spectra(extra)
        spectra = self.driver.respond(self.voltage + voltage, force, port)
        current, displacement, velocity, flow = (self.grid.samples(s, self.grid.n_woofer) for s in spectra)
        return current, displacement, velocity, flow

    def heat(self, current: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Rise of coil and magnet, each `(n,)`."""
        if self.frozen:
            flat = np.ones(current.size)
            return flat * self.start.coil_k, flat * self.start.magnet_k
        power = current**2 * self.driver.resistance_ohm
        rate_hz = self.grid.sample_rate / self.grid.step
        coil_k, magnet_k = heated(power, self.woofer.coil, start=self.start, rate_hz=rate_hz)
        power = current**2 * resistance_ohm(self.woofer.coil, coil_k + magnet_k)
        return heated(power, self.woofer.coil, start=self.start, rate_hz=rate_hz)

    def one_pass(self, extra: FloatArray) -> FloatArray:
        """Better `(4, n)` from `(4, n)`. Raises RecordingError when the cone leaves the driver on the way."""
        woofer, driver = self.woofer, self.driver
        current, x_m, velocity, flow = self.motion(extra)
        farthest_m = float(np.max(np.abs(x_m)))
        if not farthest_m < FARTHEST_M:
            raise not_settled(f"the cone would move by {1e3 * farthest_m:.0f} mm")
        flux_factor = 1.0 + woofer.flux_per_a * current + woofer.flux2_per_a2 * current**2
        extra_factor = force_factor_tm(woofer, x_m) * flux_factor - driver.force_factor
        inductance = inductance_h(woofer, x_m)
        voltage = -extra_factor * velocity
        if not self.frozen:
            rise_k = np.add(*self.heat(current))
            voltage -= (resistance_ohm(woofer.coil, rise_k) - driver.resistance_ohm) * current
        reluctance = -0.5 * current**2 * inductance / woofer.inductance_slope_m
        spring = (stiffness_n_m(woofer, x_m) - woofer.stiffness_n_m) * x_m
        return np.stack(
            [
                voltage,
                (inductance - woofer.inductance_h) * current,
                extra_factor * current + reluctance - spring,
                -self.turbulence * np.abs(flow) * flow,
            ]
        )

    def extra_acceleration(self, extra: FloatArray) -> ComplexArray:
        """Spectrum of the volume acceleration that the extra inputs alone make, at the woofer's rate."""
        _, _, velocity, flow = self.driver.respond(*self.spectra(extra))
        return self.driver.volume_acceleration(velocity, flow) * self.grid.woofer_band
