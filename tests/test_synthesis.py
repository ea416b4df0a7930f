"""Kernels of orders, their structure, and what they make of a multitone: against systems known in closed form."""

from functools import cache

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.multitone.powers import band_of_bins
from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.orders import SeparatedOrders, separate
from distort.analysis.synthesis.kernels import Step, equivalent_kernel, kernels_at, level_rule_db
from distort.analysis.synthesis.products import Played
from distort.analysis.synthesis.structure import ADVANCED, AFTER, RATE, Structure, kernel_of
from distort.analysis.synthesis.ways import form_of, ways_of
from distort.analysis.synthesis.wick import Pairs, pairs_of, wick_product
from signals import Multitone, Sweep
from tests.devices.branches import ADVANCE_HZ, Branch, Branched

SWEEP = Sweep(drive_dbfs=-6.0)
TONE = Multitone(period_s=1.0, drive_dbfs=-15.0)
START = 2000
SMALL = 1e-3
"""Of a product re what is played: its pairs change the fundamental by 75 dB less than itself."""

SYSTEMS = {
    "both factors of a square, three of a cube, of either sign": ((2, 2, -1.0), (3, 3, 1.0)),
    "none of a square, two of a cube, of either sign": ((2, 0, 1.0), (3, 2, -1.0)),
    "one of a square, none of a cube, of either sign": ((2, 1, -1.0), (3, 0, 1.0)),
    "a square's and a cube's rate of change, of either sign": ((2, RATE, 1.0), (3, RATE, -1.0)),
    "one of a square, which is advanced": ((2, ADVANCED, -1.0),),
}


@cache
def separated(name: str) -> tuple[Branched, SeparatedOrders]:
    branches = tuple(
        Branch(order=order, filtered=filtered, size=sign * SMALL, corner_hz=300.0)
        for order, filtered, sign in SYSTEMS[name]
    )
    device = Branched(branches=branches)
    recording = np.concatenate([np.zeros(START), device.answer(SWEEP, silence_s=0.5)])
    return device, separate(deconvolve(recording, SWEEP, start=float(START), orders=4), orders=4)


STRUCTURES = (
    Structure(unfiltered=None),
    Structure(),
    Structure(unfiltered=1.0),
    Structure(rate=1.0),
    Structure(unfiltered=1.0, advance_hz=ADVANCE_HZ),
)


def right_structure(order: int, filtered: int) -> Structure:
    return next(one for one in STRUCTURES if one.parts(order) == {filtered: 1.0})


@pytest.mark.first(2)
@pytest.mark.parametrize("name", SYSTEMS)
def test_a_known_system_is_synthesised_wave_for_wave(name) -> None:
    """Truth: the branches computed directly, `tests/devices/branches.py`. In the median third octave what differs lies
    60 dB below the product: averaging E_n over 1/6 octave bends it by (0.116^2 / 24) f^2 E'' = 5e-4, -65 dB, and the
    speed of the sweep by some 0.003 dB. What rises as f, as a rate of change does, is 0.17 % too high on the mean of a
    band, whose middle in hertz lies so much above that in octaves: -55 dB."""
    device, orders = separated(name)
    played = Played(tone=TONE, path=orders.spectra[0].power)
    midbands, band = band_of_bins(TONE)
    truth = device.products(TONE)
    for branch in device.branches:
        (way,) = ways_of({branch.order: equivalent_kernel(orders, branch.order)}, None)
        (kernel,) = way.kernels
        assert (kernel.rate if branch.filtered == RATE else kernel.whole).sign == np.sign(branch.size)
        got = played.product(kernel, right_structure(branch.order, branch.filtered), way)
        want = truth[: got.size]
        parity = np.arange(got.size) % 2 == branch.order % 2  # tones on odd bins: the other branch's lie between
        errors_db = []
        for place in np.flatnonzero((midbands >= 63.0) & (midbands <= 10000.0)):
            inside = parity & (band[: got.size] == place)
            power = np.sum(np.abs(want[inside]) ** 2)
            errors_db.append(10.0 * np.log10(np.sum(np.abs((got - want)[inside]) ** 2) / power))
        assert np.median(errors_db) < (-55.0 if branch.filtered == RATE else -60.0), errors_db
        wrong = next(one for one in STRUCTURES if one.parts(branch.order) != {branch.filtered: 1.0})
        off = (played.product(kernel, wrong, way) - want)[parity]
        assert np.sum(np.abs(off) ** 2) > 0.01 * np.sum(np.abs(want[parity]) ** 2)


def test_the_diagonal_is_that_of_the_branch() -> None:
    """Closed form: size w(f)^q, and size w(n f) of a filter behind the product. The tolerance is that of the averaging
    and the sweep's speed, as above, and at the third order three times the latter."""
    device, orders = separated("none of a square, two of a cube, of either sign")
    for branch in device.branches:
        found, closed = equivalent_kernel(orders, branch.order), branch.diagonal(grid_hz())
        known = np.isfinite(found) & (grid_hz() > 40.0)
        assert grid_hz()[known][-1] > 0.85 * SWEEP.stop_hz / branch.order
        np.testing.assert_allclose(np.abs(found[known] / closed[known] - 1.0), 0.0, atol=3e-3)


def test_wick_products_hold_no_lower_order() -> None:
    """Hermite's polynomials in closed form, and that their means against every lower product vanish: of Gaussian pairs,
    drawn so often that a mean scatters by a thousandth of its r.m.s."""
    random = np.random.default_rng(4)
    x = random.standard_normal(1_000_000)
    u = 0.6 * x + 0.8 * random.standard_normal(x.size)
    one = Pairs(uu=1.0, ux=0.6, xx=1.0)
    few = x[:50]
    np.testing.assert_allclose(wick_product(few, few, of_u=0, of_x=4, pairs=one), few**4 - 6 * few**2 + 3, rtol=1e-12)
    hermite_5 = few**5 - 10 * few**3 + 15 * few
    np.testing.assert_allclose(wick_product(few, few, of_u=5, of_x=0, pairs=one), hermite_5, rtol=1e-9, atol=1e-12)
    for of_u, of_x in ((2, 1), (1, 1), (2, 2), (3, 2)):
        made = wick_product(u, x, of_u=of_u, of_x=of_x, pairs=one)
        for lower in (np.ones(x.size), x, u, x * u, u**3)[: of_u + of_x]:
            scatter = np.sqrt(np.mean(made**2) * np.mean(lower**2))
            assert abs(np.mean(made * lower)) < 0.02 * scatter
    assert pairs_of(u, x).ux == pytest.approx(0.6, abs=0.005)  # a mean of a million products of size 1


def test_between_steps_a_kernel_is_straight_over_decibels_and_below_them_it_stays() -> None:
    """Order 2 of a signal of drive L is read at L + 10 lg 3; a row that one step alone knows is that everywhere."""
    size = grid_hz().size
    low, high = np.full(size, 1.0 + 0j), np.full(size, 2.0 + 1j)
    low[0] = high[1] = np.nan
    steps = [
        Step(drive_dbfs=drive, kernels={2: values}, response=separated(next(iter(SYSTEMS)))[1].spectra[0])
        for drive, values in ((-20.0, low), (-10.0, high))
    ]
    middle = kernels_at(steps, -15.0 - level_rule_db(2))[2]
    np.testing.assert_allclose(middle[2:], 1.5 + 0.5j)
    np.testing.assert_allclose(middle[:2], [2.0 + 1j, 1.0])
    np.testing.assert_allclose(kernels_at(steps, -60.0)[2][2:], 1.0)


def test_the_level_rule_is_that_of_the_next_term() -> None:
    """A curve x^n + c x^(n+2): of a sine of amplitude A order n is that of `1 + c A^2 (n + 2)/4 `, of Gaussian noise of
    r.m.s. s that of `1 + c s^2 (n + 2)(n + 1)/2`; both are one at A = sqrt(2 (n + 1)) s. The sine's part is taken from
    one period's Fourier series here, the noise's from the coefficient of Wick's order."""
    phase = 2.0 * np.pi * np.arange(64) / 64
    for order in (2, 3, 4, 5):
        s = 0.3
        amplitude = s * np.sqrt(2.0) * 10.0 ** (level_rule_db(order) / 20.0)  # equal drives are equal r.m.s.
        lower = np.abs(np.fft.rfft((amplitude * np.cos(phase)) ** order)[order])
        upper = np.abs(np.fft.rfft((amplitude * np.cos(phase)) ** (order + 2))[order])
        assert upper / lower == pytest.approx(s**2 * (order + 2) * (order + 1) / 2, rel=1e-9)


def test_a_kernel_turned_round_at_its_low_end_has_the_other_sign() -> None:
    """The phase of E_n is taken less the multiple of pi that is nearest at the low end."""
    curve = 1.0 / (1.0 + 1j * grid_hz() / 200.0) ** 3
    kernel, turned = kernel_of(3, curve), kernel_of(3, -curve)
    assert (kernel.whole.sign, turned.whole.sign) == (1.0, -1.0)
    np.testing.assert_allclose(kernel.whole.curve.at(grid_hz()), curve, rtol=1e-9)
    np.testing.assert_allclose(turned.whole.curve.at(grid_hz()), curve, rtol=1e-9)
    np.testing.assert_allclose(kernel.whole.curve.root(3).at(grid_hz()) ** 3, curve, rtol=1e-9)
    beyond = kernel.whole.curve.at(np.array([40000.0]))[0]
    # 40 kHz is an octave above the grid's end; a slope of 18 dB an octave, fitted over the last, goes on
    assert 20.0 * np.log10(abs(beyond / curve[-1])) == pytest.approx(-18.0, abs=0.3)
    assert kernel_of(2, np.full(grid_hz().size, np.nan + 0j)) is None


def test_a_share_parts_an_order_between_two_structures() -> None:
    """Products are linear in the share; at 0 and 1 one structure is left."""
    assert Structure(unfiltered=0.25).parts(3) == {2: 0.25, 3: 0.75}
    assert Structure(unfiltered=-0.5).parts(2) == {1: -0.5, 2: 1.5}
    assert Structure(rate=1.5).parts(2) == {RATE: 1.5, 2: -0.5}
    assert Structure(unfiltered=0.5, rate=0.25).parts(3) == {2: 0.5, 3: 0.25, RATE: 0.25}
    assert Structure(unfiltered=1.5, rate=-0.5, advance_hz=1000.0).parts(2) == {ADVANCED: 1.5, RATE: -0.5}
    assert Structure().parts(4) == {4: 1.0}
    assert Structure(unfiltered=None).parts(5) == {AFTER: 1.0}


def test_a_form_keeps_what_each_way_is_made_of() -> None:
    """Its fields go into a file: none of the rates is written where there is none."""
    even = (Structure(rate=1.5), Structure(unfiltered=None))
    form = form_of(2000.0, even, (Structure(unfiltered=0.25), Structure()))
    assert (form.even, form.even_rate, form.odd, form.odd_rate) == ((0.0, None), (1.5, 0.0), (0.25, 0.0), ())
    assert (form.structure(0, 2), form.structure(1, 4), form.structure(0, 3)) == (*even, Structure(unfiltered=0.25))


def test_a_last_row_that_stands_alone_gives_no_slope_of_its_own() -> None:
    """Rows up to 1 kHz fall 6 dB an octave, then nothing is known up to one row at 8 kHz, on the same line: beyond it
    the curve falls as it did."""
    grid = grid_hz()
    row = int(np.argmin(np.abs(grid - 8000.0)))
    values = np.where(grid < 1000.0, 100.0 / grid, np.nan).astype(np.complex128)
    values[row] = 100.0 / grid[row]
    kernel = kernel_of(2, values)
    assert kernel is not None
    assert np.abs(kernel.whole.curve.at(np.array([16000.0]))) == pytest.approx(100.0 / 16000.0, rel=1e-9)
