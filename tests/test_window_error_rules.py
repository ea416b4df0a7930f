"""What windows keep of a decay and what they add to a reading: shares, sums and cuts that are given, by hand."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.sweep import window_errors
from distort.analysis.sweep.decay import Separation, less_noise
from distort.analysis.sweep.orders import WindowedSpectrum
from distort.analysis.sweep.readings import Reading, _with_leak
from distort.analysis.sweep.window_errors import (
    FundamentalSeen,
    _gate,
    _takes_add,
    _variance,
    later_variance,
    order_errors,
)
from distort.analysis.sweep.windows import OrderWindow
from signals import Sweep

DB_PER_NEPER = 10.0 / math.log(10.0)
AT_HZ = np.array([100.0, 200.0, 400.0])


def of(value: object) -> np.ndarray:
    return np.asarray(value, dtype=float) * np.ones(3)


# --- what is kept of a decay ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("noise", "left"), [(0.0, 10.0), (8.9, 1.1), (9.1, 1.0), (50.0, 1.0), (np.nan, 10.0)])
def test_at_most_nine_tenths_are_taken_off_as_noise(noise, left):
    assert less_noise(of(10.0), of(noise)) == pytest.approx(of(left))


def kept(every: float, every_noise: float, part: float, part_noise: float) -> float:
    whole, cut = object(), object()
    powers = {id(whole): (of(every), of(every_noise)), id(cut): (of(part), of(part_noise))}
    fake = SimpleNamespace(smoothed=lambda spectra, at_hz, octaves: [powers[id(one)] for one in spectra])
    (share,) = Separation.kept(fake, [cut], AT_HZ, 1.0 / 3.0, whole=whole)
    return float(share[0])


@pytest.mark.parametrize(
    ("every", "noise", "share"),
    [(100.0, 0.0, 0.6), (100.0, 5.0, 0.6), (100.0, 9.5, 0.6), (100.0, 10.5, np.nan), (100.0, np.nan, 0.6)],
)
def test_a_share_is_that_of_the_powers_less_their_noise(every, noise, share):
    """The fundamental must stand ten times over its noise; the part has half of it."""
    part = share * (every - np.nan_to_num(noise)) + 0.5 * np.nan_to_num(noise) if np.isfinite(share) else 60.0
    found = kept(every, noise, part, 0.5 * noise)
    assert found == pytest.approx(share, nan_ok=True)


@pytest.mark.parametrize(
    ("share", "times"),
    [(0.5, 2.0), (0.11, 1.0 / 0.11), (0.09, 10.0), (1.2, 1.0), (0.0, 1.0), (-1.0, 1.0), (np.nan, 1.0)],
)
def test_what_a_window_loses_is_made_good_up_to_ten_decibels(share, times):
    """Of order 3 at three times the excitation, over a third of an octave at least."""
    asked = {}

    def shares(cuts, at_hz, octaves, *, whole):
        asked.update(cuts=cuts, at_hz=at_hz, octaves=octaves, whole=whole)
        return of(share), of(0.2)

    separated = SimpleNamespace(fundamental_in="abc", fundamental_leak="def", spectra="ghi")
    fake = SimpleNamespace(excitation_hz=AT_HZ, separated=separated, kept=shares, decay_octaves=0.4)
    made_good, leak = Separation.made_good_and_leak(fake, 3)
    assert made_good == pytest.approx(of(times))
    np.testing.assert_array_equal(leak, of(0.2))
    assert (asked["cuts"], asked["octaves"], asked["whole"]) == (("c", "f"), 0.4, "g")
    np.testing.assert_array_equal(asked["at_hz"], 3.0 * AT_HZ)


@pytest.mark.parametrize(("octaves", "over"), [(1.0 / 12.0, 1.0 / 3.0), (0.0, 1.0 / 3.0), (0.5, 0.5)])
def test_a_decay_is_read_over_a_third_of_an_octave_at_least(octaves, over):
    assert Separation.decay_octaves.fget(SimpleNamespace(octaves=octaves)) == over


def test_noise_of_a_window_is_its_energy_times_that_of_a_unit():
    """Over the number of takes."""
    spectrum = WindowedSpectrum(
        window=OrderWindow(order=1, before_s=0.1, after_s=0.1),
        values=np.full(50, 3.0 + 4.0j),
        bin_hz=20.0,
        energy=6.0,
        first_s=0.0,
    )
    own = Separation(
        separated=SimpleNamespace(takes=4),
        noise_per_energy=PowerSpectrum(np.full(50, 0.5), 20.0),
        silence_s=1.0,
        excitation_hz=AT_HZ,
        octaves=0.0,
    )
    ((power, noise), again) = own.smoothed([spectrum, replace(spectrum, energy=12.0)], AT_HZ, 1.0 / 3.0)
    assert power == pytest.approx(of(25.0))
    assert noise == pytest.approx(of(6.0 / 4.0 * 0.5))
    np.testing.assert_allclose(again, (power, 2.0 * noise))
    ((_, unknown),) = replace(own, noise_per_energy=None).smoothed([spectrum], AT_HZ, 1.0 / 3.0)
    assert np.isnan(unknown).all()


# --- the leak of the next order ---------------------------------------------------------------------------------------


def test_a_leak_is_what_is_left_of_the_next_order_at_the_same_frequency():
    """Order 3 sounds at 2 f when the excitation is at 2 f / 3: a power of f there, times the share; beyond the rows
    nothing is known. What leaks into the last order nobody knows."""
    hz = 100.0 * 2.0 ** (np.arange(13) / 4.0)
    rows = np.full(hz.size, 5.0)
    share = np.linspace(0.1, 0.2, hz.size)
    context = SimpleNamespace(excitation_hz=hz)
    found = [
        Reading(power=power, noise=2.0 * rows, leak=np.full(hz.size, np.nan), variance=3.0 * rows)
        for power in (rows, 7.0 * rows, hz)
    ]
    own = _with_leak(context, found, 2, share)
    expected = np.where(2.0 * hz / 3.0 >= 100.0, share * 2.0 * hz / 3.0, np.nan)
    np.testing.assert_allclose(own.leak, expected)
    np.testing.assert_array_equal((own.power, own.noise, own.variance), (7.0 * rows, 2.0 * rows, 3.0 * rows))
    assert _with_leak(context, found, 3, share) is found[2]


# --- the fundamental, cut again ---------------------------------------------------------------------------------------

RATE = 8000
WINDOW = OrderWindow(order=1, before_s=0.002, after_s=0.004)


def seen(values: np.ndarray, *, first_s: float, gate_s: float | None = None, octaves: float = 0.1) -> FundamentalSeen:
    n_fft = 2 * (values.size - 1)
    spectrum = WindowedSpectrum(window=WINDOW, values=values, bin_hz=RATE / n_fft, energy=1.0, first_s=first_s)
    separated = SimpleNamespace(
        spectra=[spectrum], gate_s=gate_s, sweep=Sweep(sample_rate=RATE, stop_hz=3500.0), takes=1
    )
    return FundamentalSeen(SimpleNamespace(separated=separated, octaves=octaves, excitation_hz=AT_HZ))


def test_the_fundamental_is_put_on_four_times_as_many_bins():
    """A sample 5 after the arrival and one 3 before it, in 64: between the bins their phases go on as
    `exp(-2 pi i k n / 256)`."""
    pieces = np.zeros(64)
    pieces[[7, 15]] = 1.0, 2.0  # of a window that begins ten samples before the arrival
    of_it = seen(np.fft.rfft(pieces), first_s=-10 / RATE)
    finer = of_it.finer
    k = np.arange(finer.values.size)
    expected = np.exp(2j * np.pi * k * 3 / 256) + 2.0 * np.exp(-2j * np.pi * k * 5 / 256)
    np.testing.assert_allclose(finer.values, expected, atol=1e-12)
    assert finer.values.size == 129
    assert (finer.bin_hz, finer.first_s) == (RATE / 256, 0.0)
    again = of_it.cut_by(OrderWindow(order=2, before_s=0.0005, after_s=0.004))  # flat 2 samples after, closed 4 before
    at = np.fft.irfft(again.at_arrival(), 80)
    shape = 0.5 - 0.5 * math.cos(math.pi * (0.0005 - 3 / RATE) / (0.7 * 0.0005))
    found = np.fft.irfft(again.values, round(RATE / again.bin_hz))
    assert found[4 - 3] == pytest.approx(shape)
    assert found[4 + 5] == pytest.approx(2.0)
    assert at.size == 80


@pytest.mark.parametrize(
    ("half_db", "quarter_db", "expected"),
    [(0.1, 0.3, 0.01 * (0.01 / 0.09) ** 2), (0.3, 0.1, 0.09), (0.2, 0.2, 0.04), (0.5, 0.0, 0.25 * 0.25**2)],
)
def test_what_comes_later_falls_on_as_it_fell(half_db, quarter_db, expected):
    """`r(1) = r(1/2) (r(1/2) / r(1/4))^2` in powers, and no more than at the half."""
    found = later_variance([np.full(30, half_db), np.full(30, quarter_db)])
    assert found[15] == pytest.approx(expected)
    np.testing.assert_array_equal(later_variance([]), [0.0])


def test_the_fundamental_is_cut_at_a_half_and_a_quarter_of_the_time_after_the_arrival():
    """Not under a time gate, which shall leave out what comes later."""
    of_it = seen(np.ones(33, dtype=complex), first_s=0.0)
    assert [(one.window.before_s, one.window.after_s) for one in of_it.earlier] == [(0.002, 0.002), (0.002, 0.001)]
    assert seen(np.ones(33, dtype=complex), first_s=0.0, gate_s=0.004).earlier == ()


def test_what_is_kept_is_held_against_the_finer_bins_over_the_smoothings_width():
    asked = {}

    def shares(cuts, at_hz, octaves, *, whole):
        asked.update(cuts=cuts, octaves=octaves, whole=whole)
        return np.array([0.1, np.nan, 2.0]), np.array([1.0, np.nan, 10.0])

    fake = SimpleNamespace(of=SimpleNamespace(kept=shares, octaves=0.07), finer="finer")
    one, other = FundamentalSeen.kept_db(fake, ["cut", "another"], AT_HZ)
    np.testing.assert_allclose(one, [-10.0, np.nan, 10.0 * math.log10(2.0)])
    np.testing.assert_allclose(other, [0.0, np.nan, 10.0])
    assert asked == {"cuts": ["cut", "another"], "octaves": 0.07, "whole": "finer"}


def test_what_a_window_adds_is_what_it_keeps_and_what_was_made_good():
    """Of order 2 at 2 f; of another sweep the fundamental is cut by the window of this one."""
    spectra = [SimpleNamespace(window=f"window {n}") for n in (1, 2)]
    own = SimpleNamespace(
        separated=SimpleNamespace(fundamental_in=["in 1", "in 2"], spectra=spectra),
        excitation_hz=AT_HZ,
        decays=[(of(10.0 * order), None) for order in (1, 2)],
    )
    asked = []

    def kept_db(cuts, at_hz):
        asked.append((cuts, at_hz[0]))
        return [np.array([-13.0, np.nan, -12.5]), of(0.2), of(0.4)]

    same = SimpleNamespace(of=own, kept_db=kept_db, earlier=("half", "quarter"))
    made_db = 10.0 * math.log10(20.0)
    added_db, later = _gate(own, 2, same)
    np.testing.assert_allclose(added_db, [made_db - 13.0, 0.0, made_db - 12.5])
    np.testing.assert_allclose(later, 0.04 * (0.04 / 0.16) ** 2)
    other = SimpleNamespace(of=object(), kept_db=kept_db, cut_by=lambda window: ("cut by", window), earlier=())
    _gate(own, 2, other)
    assert asked == [(("in 2", "half", "quarter"), 200.0), ((("cut by", "window 2"),), 200.0)]


def test_errors_of_an_order_are_its_own_and_those_of_the_fundamental(monkeypatch):
    """Variances of relative powers in dB squared, and what takes add; what comes later at f and at n f."""
    gates = [(of(0.1), AT_HZ / 1e4), (of(0.5), 2.0 * AT_HZ / 1e4), (of(0.9), 3.0 * AT_HZ / 1e4)]
    monkeypatch.setattr(window_errors, "_gate", lambda own, order, seen: gates[order - 1])
    monkeypatch.setattr(window_errors, "_variance", lambda own, found, order: of((1e-3, 2e-3, 5e-3)[order - 1]))
    found = order_errors(None, [None] * 3, seen=None, takes_variance=[of(0.2), of(0.3)])
    for one, order, shift, variance, takes in zip(found, (2, 3), (0.4, 0.8), (3e-3, 6e-3), (0.2, 0.3), strict=True):
        np.testing.assert_allclose(one.shift_db, shift)
        np.testing.assert_allclose(one.variance, DB_PER_NEPER**2 * variance + takes)
        np.testing.assert_allclose(one.later_variance, AT_HZ * (1 + order) / 1e4)
    alone = order_errors(None, [None] * 3, seen=None, takes_variance=())
    np.testing.assert_allclose(alone[1].variance, DB_PER_NEPER**2 * 6e-3)


def test_three_takes_scatter_by_a_third_of_their_variance_beyond_noise():
    """-40, -39 and -37 dB: a variance of 7 / 3 dB squared, less that of the noise in both powers."""
    rows = np.ones(20)

    def take(power_db: float, variance: float) -> list[Reading]:
        powers = (2.0 * rows, 2.0 * 10.0 ** (power_db / 10.0) * rows)
        return [
            Reading(power=power, noise=0 * rows, leak=0 * rows, variance=scale * variance * rows / DB_PER_NEPER**2)
            for power, scale in zip(powers, (1.0, 2.0), strict=True)
        ]

    takes = [take(-40.0, 0.1), take(-39.0, 0.2), take(-37.0, 0.3)]
    np.testing.assert_allclose(_takes_add(takes, 2), (7.0 / 3.0 - 3.0 * 0.2) / 3.0)
    noisy = [take(power_db, 2.0) for power_db in (-40.0, -39.0, -37.0)]
    np.testing.assert_array_equal(_takes_add(noisy, 2), 0.0 * rows)


def test_a_leak_scatters_through_the_window_of_its_own_order(monkeypatch):
    """`2 K / S c + (K / S)^2 q` beside the noise's; an unknown leak adds nothing."""
    asked = {}

    def averaging(window, rate):
        asked.update(window=window, rate=rate)
        return SimpleNamespace(factors=lambda width_hz: asked.update(width=width_hz) or (of(0.5), of(0.25)))

    monkeypatch.setattr(window_errors, "noise_averaging", averaging)
    own = SimpleNamespace(
        excitation_hz=AT_HZ,
        octaves=1.0 / 3.0,
        separated=SimpleNamespace(
            spectra=[SimpleNamespace(window=f"window {n}") for n in (1, 2)], sweep=SimpleNamespace(sample_rate=RATE)
        ),
    )
    reading = Reading(power=of(2.0), noise=of(0.0), leak=np.array([0.2, np.nan, 0.4]), variance=of(1e-3))
    found = _variance(own, [None, reading], 2)
    expected = [2 * 0.1 * 0.5 + 0.01 * 0.25, 0.0, 2 * 0.2 * 0.5 + 0.04 * 0.25]
    np.testing.assert_allclose(found, 1e-3 + np.array(expected))
    assert (asked["window"], asked["rate"]) == ("window 2", RATE)
    np.testing.assert_allclose(asked["width"], 2.0 * AT_HZ * (10.0**0.05 - 10.0**-0.05))
