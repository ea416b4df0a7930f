"""The woofer in its box against an ODE solver, a state-space solution and the textbook's vented box."""

import dataclasses
import math

import numpy as np
import numpy.typing as npt
import pytest
from scipy.integrate import solve_ivp

from distort.capture.simulated.grid import Grid
from distort.capture.simulated.heat import COLD, Heat
from distort.capture.simulated.parameters import AIR_DENSITY_KG_M3, Box, Woofer
from distort.capture.simulated.relaxation import settle
from distort.capture.simulated.woofer import SOUND_SPEED_M_S, WooferInBox
from distort.errors import RecordingError

FloatArray = npt.NDArray[np.float64]
TONE_HZ = 50.0
PERIOD_SAMPLES = 960
RATE = 48000


def box_elements(box: Box) -> tuple[float, float, float, float, float]:
    """Compliance, leak, port mass, port friction, turbulence, written again from the definitions of their Q."""
    compliance = box.volume_m3 / (AIR_DENSITY_KG_M3 * SOUND_SPEED_M_S**2)
    omega = 2 * math.pi * box.tuning_hz
    mass = 1 / (omega**2 * compliance)
    turbulence = box.port_loss * AIR_DENSITY_KG_M3 / 2 / box.port_area_m2**2
    return compliance, box.leak_q / (omega * compliance), mass, omega * mass / box.loss_q, turbulence


def ode_truth(woofer: Woofer, box: Box, peak_v: float, periods: int) -> tuple[FloatArray, FloatArray]:
    """Displacement and total volume acceleration over the last period of a tone, from the differential equations."""
    compliance, leak, mass, friction, turbulence = box_elements(box)
    omega = 2 * math.pi * TONE_HZ
    w = woofer

    def slopes(t: float, state: FloatArray) -> list[float]:
        i, x, v, p, q = state.tolist()
        bell = math.exp(-(((x - w.force_factor_offset_m) / w.force_factor_width_m) ** 2))
        bl = w.force_factor_tm * bell * (1 + w.flux_per_a * i + w.flux2_per_a2 * i * i)
        le = w.inductance_h * math.exp(-x / w.inductance_slope_m)
        k = w.stiffness_n_m * (1 + w.stiffness_slope_per_m * x + w.stiffness_curve_per_m2 * x * x)
        dle = -le / w.inductance_slope_m
        di = (peak_v * math.sin(omega * t) - w.coil.resistance_ohm * i - dle * v * i - bl * v) / le
        dv = (bl * i + 0.5 * i * i * dle + w.area_m2 * p - k * x - w.resistance_ns_m * v) / w.moving_mass_kg
        dp = (-w.area_m2 * v - q - p / leak) / compliance
        dq = (p - friction * q - turbulence * abs(q) * q) / mass
        return [di, v, dv, dp, dq]

    times = (periods - 1) / TONE_HZ + np.arange(PERIOD_SAMPLES) / PERIOD_SAMPLES / TONE_HZ
    solved = solve_ivp(slopes, (0.0, times[-1]), [0.0] * 5, method="DOP853", t_eval=times, rtol=1e-9, atol=1e-13)
    rates = np.array([slopes(t, state) for t, state in zip(times, solved.y.T, strict=True)])
    return solved.y[1], woofer.area_m2 * rates[:, 2] + rates[:, 4]


def tone(grid: Grid, peak_v: float) -> npt.NDArray[np.complex128]:
    return grid.spectrum(peak_v * np.sin(2 * np.pi * TONE_HZ * np.arange(grid.n_samples) / grid.sample_rate))


@pytest.mark.sample
def test_a_loud_tone_agrees_with_an_ode_solver() -> None:
    """Truth: scipy solve_ivp (DOP853, rtol 1e-9) on the five equations, settled for 0.8 s; about 4 mm peak."""
    grid, woofer, box = Grid(PERIOD_SAMPLES, RATE), Woofer(), Box()
    peak_v = 28.0
    displacement, acceleration = ode_truth(woofer, box, peak_v, periods=40)
    assert 0.0025 < np.max(np.abs(displacement)) < 0.006
    motion = WooferInBox(woofer, box, grid).drive(tone(grid, peak_v), start=COLD, frozen=True, tolerance=1e-11)
    # The solver's own tolerance is 1e-9 a step, some 200 steps a period; -114 dB of the peak is 2e-6.
    peak = np.max(np.abs(displacement))
    np.testing.assert_allclose(motion.displacement_m, displacement[::2], rtol=0, atol=2e-6 * peak)
    # Every harmonic of what is radiated: within -110 dB of the fundamental.
    got = np.abs(motion.volume_acceleration[:21])
    expected = np.abs(np.fft.rfft(acceleration)[:21])
    np.testing.assert_allclose(got, expected, rtol=0, atol=3e-6 * expected[1])
    assert expected[2] > 1e-3 * expected[1], "the tone must show its second harmonic for this to mean anything"
    assert expected[3] > 1e-2 * expected[1]


def state_space_acceleration(woofer: Woofer, box: Box, frequency_hz: FloatArray) -> npt.NDArray[np.complex128]:
    """Volume acceleration per volt of the driver at rest: `C (jw - A)^-1 B`, solved bin by bin."""
    compliance, leak, mass, friction, _ = box_elements(box)
    w = woofer
    bl = w.force_factor_tm * math.exp(-((w.force_factor_offset_m / w.force_factor_width_m) ** 2))
    a = np.array(
        [
            [-w.coil.resistance_ohm / w.inductance_h, 0, -bl / w.inductance_h, 0, 0],
            [0, 0, 1, 0, 0],
            [
                bl / w.moving_mass_kg,
                -w.stiffness_n_m / w.moving_mass_kg,
                -w.resistance_ns_m / w.moving_mass_kg,
                w.area_m2 / w.moving_mass_kg,
                0,
            ],
            [0, 0, -w.area_m2 / compliance, -1 / (leak * compliance), -1 / compliance],
            [0, 0, 0, 1 / mass, -friction / mass],
        ]
    )
    b = np.array([1 / w.inductance_h, 0, 0, 0, 0])
    c = np.array([0, 0, w.area_m2, 0, 1.0])
    omega = 2 * np.pi * frequency_hz
    return np.array([1j * o * (c @ np.linalg.solve(1j * o * np.eye(5) - a, b)) for o in omega])


def test_a_quiet_signal_meets_the_linear_state_space() -> None:
    """Truth: the same equations about rest as matrices, solved by numpy.linalg. 1 mV leaves curves under 1e-5."""
    grid, woofer, box = Grid(4800, RATE), Woofer(), Box()
    volts = np.zeros(grid.frequency_hz.size, dtype=np.complex128)
    bins = np.array([2, 4, 5, 9, 20, 60, 200, 700])  # 20 Hz to 7 kHz
    volts[bins] = 1e-3 * grid.n_samples / 2
    motion = WooferInBox(woofer, box, grid).drive(volts, start=COLD, frozen=True, tolerance=1e-10)
    got = motion.volume_acceleration[bins] / volts[bins]
    expected = state_space_acceleration(woofer, box, grid.frequency_hz[bins])
    # Flux modulation at 0.2 mA each is 1e-6 of the force factor, the turbulence at 1e-6 m3/s 1e-4 of the friction.
    np.testing.assert_allclose(got, expected, rtol=1e-4)


def test_without_losses_it_is_the_textbooks_vented_box() -> None:
    """`(sTb)^2 (sTs)^2 / [((sTb)^2 + 1)((sTs)^2 + sTs/Q + 1) + alpha (sTb)^2]` (R. H. Small, J. Audio Eng. Soc. 21,
    1973, from memory), no inductance, no leak, no friction in the port."""
    woofer = dataclasses.replace(Woofer(), inductance_h=1e-12)
    box = dataclasses.replace(Box(), loss_q=1e9, leak_q=1e9)
    grid = Grid(48000, RATE)
    hz = np.array([20, 35, 47, 60, 90, 150, 400])
    driver = WooferInBox(woofer, box, grid).driver(hz.astype(float))
    _, _, velocity, flow = driver.respond(np.ones(hz.size, dtype=np.complex128))
    got = driver.volume_acceleration(velocity, flow)
    bl = woofer.force_factor_tm * math.exp(-((woofer.force_factor_offset_m / woofer.force_factor_width_m) ** 2))
    omega_s = math.sqrt(woofer.stiffness_n_m / woofer.moving_mass_kg)
    damping = woofer.resistance_ns_m + bl**2 / woofer.coil.resistance_ohm
    total_q = omega_s * woofer.moving_mass_kg / damping
    alpha = AIR_DENSITY_KG_M3 * SOUND_SPEED_M_S**2 * woofer.area_m2**2 / woofer.stiffness_n_m / box.volume_m3
    st_s, st_b = 2j * np.pi * hz / omega_s, 1j * hz / box.tuning_hz
    shape = st_b**2 * st_s**2 / ((st_b**2 + 1) * (st_s**2 + st_s / total_q + 1) + alpha * st_b**2)
    middle = woofer.area_m2 * bl / (woofer.coil.resistance_ohm * woofer.moving_mass_kg)
    np.testing.assert_allclose(got, middle * shape, rtol=1e-6)  # Q of 1e9 and 1 pH are felt below 1e-6


@pytest.mark.parametrize("rise_k", [31.05, 65.88, 104.97])
def test_a_hot_coil_loses_what_its_circuit_says(rise_k: float) -> None:
    """Copper 0.393 %/K; current re cold is the ratio of the total impedances. The middle band, where the coil alone
    counts, loses `20 log10(R hot / R cold)`: 1, 2, 3 dB (closed form)."""
    woofer, box, grid = Woofer(), Box(), Grid(2400, RATE)
    bin_400_hz = 20
    volts = np.zeros(grid.frequency_hz.size, dtype=np.complex128)
    volts[bin_400_hz] = 1e-3 * grid.n_samples / 2
    system = WooferInBox(woofer, box, grid)
    levels = []
    for heat in (COLD, Heat(coil_k=0.75 * rise_k, magnet_k=0.25 * rise_k)):
        motion = system.drive(volts, start=heat, frozen=True, tolerance=1e-10)
        levels.append(20 * math.log10(abs(motion.volume_acceleration[bin_400_hz])))
    hot = dataclasses.replace(
        woofer,
        coil=dataclasses.replace(woofer.coil, resistance_ohm=woofer.coil.resistance_ohm * (1 + 0.00393 * rise_k)),
    )
    hz = grid.frequency_hz[[bin_400_hz]]
    exact = state_space_acceleration(hot, box, hz) / state_space_acceleration(woofer, box, hz)
    expected_db = 20 * math.log10(abs(exact[0]))
    assert levels[1] - levels[0] == pytest.approx(expected_db, abs=0.001)  # 1e-4 as in the linear test
    copper_db = -20 * math.log10(1 + 0.00393 * rise_k)
    # At 400 Hz the inductance and the moving mass add 1 % of Re^2 in quadrature and 10 % of motional damping.
    assert levels[1] - levels[0] == pytest.approx(copper_db, rel=0.05)


def test_extrapolation_settles_what_repetition_drives_apart() -> None:
    """`w = A w + b` has the solution `(1 - A)^-1 b` (closed form); two eigenvalues of A exceed 1 in magnitude."""
    a = np.diag([-1.8, -1.3, 0.5])
    b = np.array([[1.0, 2.0, 3.0]])
    got = settle(lambda w: w @ a + b, np.zeros((1, 3)), scale=np.ones(1), tolerance=1e-12, passes=40)
    np.testing.assert_allclose(got, b / (1 - np.diag(a)), rtol=1e-10)


def test_what_does_not_settle_is_an_error() -> None:
    with pytest.raises(RecordingError, match="did not settle"):
        settle(lambda w: w + 1.0, np.zeros((1, 3)), scale=np.ones(1), tolerance=1e-6, passes=5)
