"""What two sides are compared by: values, variances and degrees of freedom of every quantity, against sums by hand."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import (
    EVEN,
    ODD,
    RESPONSE,
    RESPONSE_OF_MULTITONE,
    Quantity,
    from_comparison,
    harmonic,
)
from distort.analysis.comparison.curves import (
    Valued,
    _order,
    curves_of_level,
    line_values,
    multitone_values,
    sweep_values,
)
from distort.analysis.comparison.significance import BROAD_OCTAVES, NARROW_OCTAVES, Curve, Difference
from distort.analysis.multitone.curves import ClockFound, MultitoneBands, MultitoneResponse, MultitoneResult
from distort.analysis.sweep.noise import NoiseDensity
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.sweeps import Reference, Settings, read_sweep, smoothed_over
from signals import Sweep
from tests.devices.memoryless import sweep_with_harmonics
from tests.devices.takes import take

RATE = 12000
SWEEP = Sweep(seconds=1.5, sample_rate=RATE, stop_hz=5500.0, drive_dbfs=-14.0)
SETTINGS = Settings(orders=3)
H2 = harmonic(2)
HZ = grid_hz()
DB_SQUARED = (10.0 / np.log(10.0)) ** 2
"""Of a relative variance of power, to first order."""


def noise(density: float, *, hum_hz: float | None = None, seconds: float = 2.0) -> NoiseDensity:
    """White, with one line 30 dB above it where asked for."""
    frequency_hz = np.arange(0.0, RATE / 2 + 1.0, 2.5)
    values = np.full(frequency_hz.size, density)
    if hum_hz is not None:
        values[np.argmin(np.abs(frequency_hz - hum_hz))] *= 1000.0
    return NoiseDensity(frequency_hz=frequency_hz, density=values, sample_rate=RATE, seconds=seconds)


@pytest.fixture(scope="module")
def read():
    """A sweep with its second order at -20 and its third at -30 dB, analysed without noise."""
    answer = sweep_with_harmonics(SWEEP, {1: 1.0, 2: 0.1, 3: 10.0**-1.5})
    return read_sweep([take(answer, after=6000)], SWEEP, SETTINGS)


def quiet(read, **how):
    """The same as if noise 90 dB below full scale had been heard in the silence."""
    return replace(read, noise=noise(1e-9 / RATE, **how))


def valued(read, name: str, octaves: float) -> Valued:
    return sweep_values(read, Reference(offset_db=3.0), SETTINGS)[from_comparison(name), octaves]


@pytest.mark.parametrize(("octaves", "step"), [(BROAD_OCTAVES, 8), (NARROW_OCTAVES, 1)])
def test_response_and_orders_are_their_powers(read, octaves, step):
    """In dB: power plus drive and reference, or re the fundamental; third octaves at every eighth row. Below 2.5 times
    the start, 25 Hz, or where the window opens fewer than three periods before, nothing is clear."""
    heard = quiet(read)
    one, second, third = smoothed_over(heard, octaves, SETTINGS)
    response = valued(heard, "response", octaves)
    rows = np.flatnonzero(np.isfinite(one.power[::step]))
    np.testing.assert_allclose(
        response.value_db[rows], (10.0 * np.log10(one.power) - 14.0 + 3.0)[::step][rows], atol=1e-9
    )
    for name, own in (("h2", second), ("h3", third)):
        found = valued(heard, name, octaves)
        np.testing.assert_allclose(found.value_db, 10.0 * np.log10(own.power / one.power)[::step], atol=1e-9)
    window = read.separated.spectra[0].window
    lowest = max(25.0, 3.0 / window.before_s, 1.0 / window.after_s)
    hz = HZ[::step]
    np.testing.assert_array_equal(response.clear, (hz >= lowest) & np.isfinite(response.value_db))


def test_variances_are_those_of_both_powers(read):
    """In white noise: of the response its own; of an order that and the fundamental's; of the total
    `sum (P_n^2 v_n) / (sum P_n)^2` and the fundamental's."""
    heard = quiet(read)
    one, second, third = smoothed_over(heard, NARROW_OCTAVES, SETTINGS)
    rows = (HZ > 100.0) & (3 * HZ < 5000.0)
    # the deconvolved noise rises with frequency: the strongest nearby, within 1 / window, is a little more
    around = {"rtol": 0.25}
    for name, variance in (
        ("response", one.variance),
        ("h2", one.variance + second.variance),
        ("h3", one.variance + third.variance),
    ):
        found = valued(heard, name, NARROW_OCTAVES)
        assert np.all(found.variance[rows] >= DB_SQUARED * variance[rows])
        np.testing.assert_allclose(found.variance[rows], DB_SQUARED * variance[rows], **around)
    total = valued(heard, "thd", NARROW_OCTAVES)
    power = second.power + third.power
    np.testing.assert_allclose(total.value_db[rows], 10.0 * np.log10(power / one.power)[rows], atol=1e-9)
    alone = {name: valued(heard, name, NARROW_OCTAVES).variance for name in ("response", "h2", "h3")}
    own = [alone[name] - alone["response"] for name in ("h2", "h3")]
    expected = (second.power**2 * own[0] + third.power**2 * own[1]) / power**2 + alone["response"]
    np.testing.assert_allclose(total.variance[rows], expected[rows], rtol=1e-9)


def test_the_total_is_that_of_the_orders_that_are_there(read):
    """Above a third of the highest frequency the third order is gone, and the second is all; above half, none is."""
    heard = quiet(read)
    total, second = (valued(heard, name, NARROW_OCTAVES) for name in ("thd", "h2"))
    alone = (HZ > 5200.0 / 3) & (HZ < 4900.0 / 2)
    np.testing.assert_allclose(total.value_db[alone], second.value_db[alone], atol=1e-9)
    np.testing.assert_allclose(total.variance[alone], second.variance[alone], rtol=1e-9)
    np.testing.assert_array_equal(total.clear[alone], second.clear[alone])
    assert total.clear[alone].all()
    above = HZ > 5500.0 / 2
    assert np.isnan(total.value_db[above]).all()
    assert not total.clear[above].any()


@pytest.mark.parametrize("octaves", [BROAD_OCTAVES, NARROW_OCTAVES])
def test_noise_is_known_with_two_degrees_of_freedom_a_reading(read, octaves):
    """T seconds of silence and a band B wide hold T B complex readings, 2 T B degrees of freedom: of order n in the
    band about n f; of the sum, which is mostly that of its lowest, in that about f."""
    heard = quiet(read, seconds=5.0)
    hz = HZ[:: 8 if octaves == BROAD_OCTAVES else 1]
    half = 10.0 ** (0.15 * octaves)
    rows = hz > 200.0
    for name, order in (("response", 1), ("h2", 2), ("h3", 3), ("thd", 1)):
        width = order * hz * (half - 1.0 / half)
        np.testing.assert_allclose(valued(heard, name, octaves).freedom[rows], 2.0 * 5.0 * width[rows], rtol=1e-9)


def test_without_silence_no_variance_is_known(read):
    found = sweep_values(read, Reference(), SETTINGS)
    assert np.isnan(found[RESPONSE, NARROW_OCTAVES].variance).all()
    hz = HZ > 100.0
    half = 10.0 ** (0.15 / 12)
    # a reading of the shortest block, 0.4 s, at least
    expected = 2.0 * np.maximum(0.4 * HZ * (half - 1.0 / half), 1.0)
    np.testing.assert_allclose(found[RESPONSE, NARROW_OCTAVES].freedom[hz], expected[hz], rtol=1e-9)


def test_beside_a_hum_the_interval_is_that_of_the_hum(read):
    """A window T long tells no frequencies apart that are closer than 1 / T: rows so near have the strongest noise.

    With r = N / S and k times that noise: `2 k r c + (k r)^2 (q + 1 / m)` is the truth; of the second term between the
    truth and twice it is counted, because q and 1 / m are at most 1 each and not known apart here.
    """
    heard = quiet(read, hum_hz=150.0)
    one = smoothed_over(heard, NARROW_OCTAVES, SETTINGS)[0]
    window = read.separated.spectra[0].window
    reach = 1.0 / (window.before_s + window.after_s)
    around = np.array([np.nanmax(np.where(np.abs(HZ - hz) <= reach, one.noise, 0.0)) for hz in HZ])
    more, ratio = around / one.noise, one.noise / one.power
    found = valued(heard, "response", NARROW_OCTAVES)
    rows = (HZ > 80.0) & (HZ < 1000.0)
    assert np.max(more[rows]) > 10.0
    expected = more * one.variance + (more**2 - more) * np.minimum(one.variance, 2.0 * ratio**2)
    np.testing.assert_allclose(found.variance[rows], DB_SQUARED * expected[rows], rtol=1e-9)


def test_a_reading_under_ten_decibels_over_its_noise_is_not_clear(read):
    """The noise that makes the margin 10.2 dB in one row makes it 9.8 dB at 0.4 dB more."""
    one = smoothed_over(quiet(read), NARROW_OCTAVES, SETTINGS)[0]
    row = int(np.argmin(np.abs(HZ - 1000.0)))
    for margin_db, clear in ((10.4, True), (9.6, False)):
        lift = one.power[row] / one.noise[row] * 10.0 ** (-margin_db / 10.0)
        # what noise is taken off the reading lowers it: -0.41 dB at a tenth
        heard = replace(read, noise=noise(1e-9 / RATE * lift / (1.0 + 10.0 ** (-margin_db / 10.0))))
        own = smoothed_over(heard, NARROW_OCTAVES, SETTINGS)[0]
        assert 10.0 * np.log10(own.power[row] / own.noise[row]) == pytest.approx(margin_db, abs=0.05)
        assert valued(heard, "response", NARROW_OCTAVES).clear[row] == clear
    orders = smoothed_over(quiet(read), NARROW_OCTAVES, SETTINGS)[1:]
    power, floor = (sum(getattr(each, name)[row] for each in orders) for name in ("power", "noise"))
    for margin_db, clear in ((10.4, True), (9.6, False)):
        lift = power / floor * 10.0 ** (-margin_db / 10.0) / (1.0 + 10.0 ** (-margin_db / 10.0))
        assert valued(replace(read, noise=noise(1e-9 / RATE * lift)), "thd", NARROW_OCTAVES).clear[row] == clear


BANDS_HZ = np.array([100.0, 1000.0, 10000.0])


def multitone_result(*, bands=None, lines=None) -> MultitoneResult:
    known = {"frequency_hz": BANDS_HZ, "unit": "dbfs"}
    of_bands = dict.fromkeys(MultitoneBands.__dataclass_fields__, np.zeros(3)) | known | (bands or {})
    of_lines = dict.fromkeys(MultitoneResponse.__dataclass_fields__, np.zeros(3)) | known | (lines or {})
    return MultitoneResult(
        bands=MultitoneBands(**of_bands),
        response=MultitoneResponse(**of_lines),
        clock=ClockFound(difference_ppm=0.0, wander_ppm=0.0, repaired=False, fast_wander=False),
        level_db=0.0,
        distortion_db=0.0,
        even_db=0.0,
        odd_db=0.0,
        noise_db=0.0,
        floor_db=0.0,
        realisations=1,
        draws=1,
    )


def test_values_of_a_multitone_with_what_is_known_of_their_noise():
    """A third octave at f is 0.2308 f wide; of a period of 2 s it holds as many bins, two degrees of freedom each, and
    one bin at least. The variance is the square of a 95 % half-width over 1.959964."""
    result = multitone_result(
        bands={
            "even_db": np.array([-40.0, -50.0, -60.0]),
            "odd_db": np.array([-41.0, -51.0, -61.0]),
            "even_floor_db": np.array([-50.2, -59.8, -100.0]),
            "odd_floor_db": np.full(3, -100.0),
            "even_noise_uncertainty_db": np.full(3, 0.5),
            "odd_noise_uncertainty_db": np.full(3, 0.25),
        }
    )
    found = multitone_values(result, 2.0)
    even, odd = found[EVEN, BROAD_OCTAVES], found[ODD, BROAD_OCTAVES]
    width = BANDS_HZ * (10.0**0.05 - 10.0**-0.05)
    np.testing.assert_allclose(even.freedom, 2.0 * 2.0 * width)
    np.testing.assert_allclose(even.variance, (0.5 / 1.959964) ** 2, rtol=1e-6)
    np.testing.assert_allclose(odd.variance, (0.25 / 1.959964) ** 2, rtol=1e-6)
    assert even.clear.tolist() == [True, False, True]  # 10.2, 9.8 and 40 dB above the floor
    assert odd.clear.all()
    np.testing.assert_array_equal(odd.value_db, [-41.0, -51.0, -61.0])
    assert multitone_values(result, 0.01)[EVEN, BROAD_OCTAVES].freedom[0] == 2.0


def test_values_of_a_multitones_lines():
    result = multitone_result(
        lines={
            "response_db": np.array([80.0, 81.0, 82.0]),
            "level_db": np.array([60.0, 61.0, 62.0]),
            "noise_db": np.array([49.8, 51.2, 20.0]),
            "uncertainty_db": np.full(3, 0.1),
        }
    )
    found = line_values(result, 1.0)[RESPONSE_OF_MULTITONE, BROAD_OCTAVES]
    np.testing.assert_array_equal(found.value_db, [80.0, 81.0, 82.0])
    assert found.clear.tolist() == [True, False, True]
    np.testing.assert_allclose(found.variance, (0.1 / 1.959964) ** 2, rtol=1e-6)
    np.testing.assert_allclose(found.freedom, 2.0 * BANDS_HZ * (10.0**0.05 - 10.0**-0.05))
    unknown = multitone_result(lines={"level_db": np.array([60.0, np.nan, 62.0]), "noise_db": np.full(3, 20.0)})
    clear = line_values(unknown, 1.0)[RESPONSE_OF_MULTITONE, BROAD_OCTAVES].clear
    assert clear.tolist() == [True, False, True]  # of what is no number nothing is known


@pytest.mark.parametrize(("leak_db", "clear"), [(-25.2, True), (-24.8, False)])
def test_an_order_is_clear_of_a_leak_25_decibels_below_it(leak_db, clear):
    """Re the order itself, of a fundamental that is not 1: both are divided by its power."""
    rows = np.ones(3)
    fundamental = Reading(power=100.0 * rows, noise=0.0 * rows, leak=0.0 * rows, variance=1e-6 * rows)
    leak = 0.01 * 10.0 ** (leak_db / 10.0) * rows
    second = Reading(power=0.01 * rows, noise=1e-9 * rows, leak=leak, variance=1e-6 * rows)
    found = _order([fundamental, second], 2, np.ones(3, dtype=bool), 100.0 * rows)
    np.testing.assert_allclose(found.value_db, -40.0)
    assert found.clear.tolist() == [clear] * 3


def value(db: float, variance: float, freedom: float, *, clear: bool = True) -> Valued:
    rows = np.ones(3)
    return Valued(value_db=db * rows, variance=variance * rows, freedom=freedom * rows, clear=np.full(3, clear))


def test_a_curve_is_the_mean_of_its_set_ups_and_their_noises_add():
    """Of two means of variance 0.02 and 0.04 the mean has 0.06 / 4; the freedoms add; clear where both are."""
    key = (H2, BROAD_OCTAVES)
    rows = {BROAD_OCTAVES: BANDS_HZ}
    set_ups = [{key: value(-40.0, 0.02, 10.0)}, {key: value(-42.0, 0.04, 30.0)}]
    (curve,) = curves_of_level(86.0, rows, set_ups)
    np.testing.assert_allclose(curve.value_db, -41.0)
    np.testing.assert_allclose(curve.noise_variance, 0.06 / 4)
    np.testing.assert_allclose(curve.noise_freedom, 40.0)
    np.testing.assert_allclose(curve.replicates_db, [[-40.0] * 3, [-42.0] * 3])
    assert (curve.count, curve.level_db_spl) == (2, 86.0)
    (alone,) = curves_of_level(86.0, rows, set_ups[:1], [{key: value(-39.0, 1.0, 1.0)}, {key: value(-41.0, 1.0, 1.0)}])
    np.testing.assert_allclose(alone.value_db, -40.0)  # that of the set-up: its takes say how far it scatters
    np.testing.assert_allclose(alone.replicates_db, [[-39.0] * 3, [-41.0] * 3])
    (single,) = curves_of_level(86.0, rows, set_ups[:1], [{key: value(-39.0, 1.0, 1.0)}])
    assert single.replicates_db is None
    assert single.count == 1
    doubtful = [set_ups[0], {key: value(-42.0, 0.04, 30.0, clear=False)}]
    assert not curves_of_level(86.0, rows, doubtful)[0].clear.any()


def curve(
    db: float = 0.0, *, quantity: Quantity = H2, variance: float = 0.01, freedom: float = np.inf, takes=None
) -> Curve:
    rows = np.geomspace(100.0, 1000.0, 11)
    return Curve(
        quantity=quantity,
        level_db_spl=86.0,
        octaves=BROAD_OCTAVES,
        frequency_hz=rows,
        value_db=np.full(rows.size, db),
        noise_variance=np.full(rows.size, variance),
        noise_freedom=np.full(rows.size, freedom),
        replicates_db=takes,
        clear=np.ones(rows.size, dtype=bool),
    )


def difference(db, *, significant=None, together=None, octaves=BROAD_OCTAVES, quantity=H2, hz=None) -> Difference:
    values = np.array(db, dtype=float)
    hz = 1000.0 * 2.0 ** (np.arange(values.size) / 3.0) if hz is None else np.array(hz)
    together = np.full(values.size, 0.2) if together is None else np.array(together)
    return Difference(
        quantity=quantity,
        level_db_spl=86.0,
        octaves=octaves,
        frequency_hz=hz,
        difference_db=values,
        uncertainty_db=0.5 * together,
        together_db=together,
        probability=np.where(np.isfinite(values), 0.01, np.nan),
        significant=np.abs(values) >= 0.5 if significant is None else np.array(significant),
        least_named_db=np.full(values.size, 0.5),
    )
