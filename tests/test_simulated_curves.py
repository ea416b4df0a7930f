"""The simulated loudspeaker's curves without memory against their Fourier series."""

import dataclasses
import math

import numpy as np
import numpy.typing as npt
import pytest

from distort.capture.simulated import dome
from distort.capture.simulated.curvature import edge_products, products
from distort.capture.simulated.grid import Grid
from distort.capture.simulated.heat import COLD
from distort.capture.simulated.parameters import Cone, Curve, Tweeter

GRID = Grid(4800, 48000)
BIN = 40  # 400 Hz
NO_CURVE = Curve(lowpass_hz=1e12, second=0.0, third=0.0, fourth=0.0, fifth=0.0, iron=0.0)


def sine_terms(spectrum: npt.NDArray[np.complex128], *, bin_: int = BIN, orders: int = 7) -> npt.NDArray[np.complex128]:
    """Complex amplitudes of `exp(j n w t)` terms, twice, so that `a sin` reads `-j a` and `a cos` reads `a`."""
    return spectrum[bin_ * np.arange(1, orders + 1)] * 2 / GRID.n_samples


def sine(amplitude: float) -> npt.NDArray[np.complex128]:
    return GRID.spectrum(amplitude * np.sin(2 * np.pi * BIN * np.arange(GRID.n_samples) / GRID.n_samples))


def test_polynomial_has_its_fourier_series() -> None:
    """Powers of `A sin t`: sin^2 = 1/2 - cos 2t/2; sin^3 = 3/4 sin t - sin 3t/4; sin^4 = 3/8 - cos 2t/2 + cos 4t/8;
    sin^5 = 5/8 sin t - 5/16 sin 3t + sin 5t/16 (textbook)."""
    amplitude = 1.7
    curve = dataclasses.replace(NO_CURVE, second=0.02, third=-0.03, fourth=0.004, fifth=0.005)
    p2, p3, p4, p5 = (c * amplitude**n for n, c in ((2, 0.02), (3, -0.03), (4, 0.004), (5, 0.005)))
    expected = [
        -1j * (3 / 4 * p3 + 5 / 8 * p5),
        -(p2 + p4) / 2,
        -1j * (-p3 / 4 - 5 / 16 * p5),
        p4 / 8,
        -1j * p5 / 16,
        0.0,
        0.0,
    ]
    np.testing.assert_allclose(sine_terms(products(sine(amplitude), curve, GRID)), expected, rtol=0, atol=1e-10)


def test_iron_has_its_fourier_series() -> None:
    """`sin t |sin t|`: `-8 / (pi n (n^2 - 4))` sin n t for odd n (Fourier integral done by hand), even n none."""
    amplitude = 1.7
    got = sine_terms(products(sine(amplitude), dataclasses.replace(NO_CURVE, iron=0.01), GRID))
    series = [-8 / (math.pi * n * (n * n - 4)) if n % 2 else 0.0 for n in range(1, 8)]
    # 480 samples a period: what folds on order n is order 480 - n, (n/480)^3 of it and less: under 1e-7 of 0.029.
    np.testing.assert_allclose(got, -1j * 0.01 * amplitude**2 * np.array(series), rtol=0, atol=3e-8)


def test_edge_is_a_cube_of_what_its_resonance_passes() -> None:
    """At the resonance the band-pass is 1: `e A^3 (3/4 sin t - 1/4 sin 3t)` (textbook)."""
    cone = dataclasses.replace(Cone(), edge_hz=400.0, edge_per_pa2=-0.01)
    got = sine_terms(edge_products(sine(1.5), cone, GRID), orders=3)
    cube = -0.01 * 1.5**3
    np.testing.assert_allclose(got, [-1j * 0.75 * cube, 0.0, 0.25j * cube], rtol=0, atol=1e-12)


def test_a_dome_with_a_falling_cube_compresses() -> None:
    """Gain `1 + 3/4 a3 A^2` far above the resonance (textbook), here with its break-up and low-pass out of the way."""
    tweeter = dataclasses.replace(
        Tweeter(),
        curve=dataclasses.replace(NO_CURVE, third=-0.01),
        resonance_hz=1.0,
        dome_db=0.0,
    )
    n = 40
    wave = np.zeros(GRID.frequency_hz.size, dtype=np.complex128)
    wave[n * 10] = 2.0 * GRID.n_samples / 2  # 4 kHz, 2 Pa
    sound, coil_k, magnet_k = dome.radiated(wave, tweeter, GRID, start=COLD, frozen=True)
    gain = abs(sound[n * 10]) * 2 / GRID.n_samples / 2.0
    # The low cut turns the product by 1/4000 of a radian and lowers it by less: nothing at 1e-6.
    assert gain == pytest.approx(1 - 0.75 * 0.01 * 2.0**2, abs=1e-6)
    assert not coil_k.any()
    assert not magnet_k.any()


def test_a_tweeter_heats_by_what_it_is_fed() -> None:
    """2.83 V for the sensitivity: at that level into 5 ohm 1.6 W, coil `R P` once settled (closed form, heat small)."""
    tweeter = Tweeter()
    pressure = 20e-6 * 10 ** (tweeter.sensitivity_db_spl / 20) * math.sqrt(2)
    coil = dataclasses.replace(tweeter.coil, coil_s=0.005, magnet_k_per_w=0.0)
    wave = np.zeros(GRID.frequency_hz.size, dtype=np.complex128)
    wave[800] = pressure * GRID.n_samples / 2
    table = dataclasses.replace(tweeter, coil=coil)
    _, coil_k, _ = dome.radiated(wave, table, GRID, start=COLD, frozen=False)
    cold = coil.coil_k_per_w * 2.83**2 / coil.resistance_ohm
    settled = cold / (1 + 0.00393 * cold)  # a warmer coil takes less; the next term is 6e-4
    assert np.mean(coil_k[-1200:]) == pytest.approx(settled, rel=2e-3)
