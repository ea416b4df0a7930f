"""Hiss step by step, against the formulas worked out by hand: parts, bands without their tones, degrees of freedom,
unrest, floor and interval, and the tones that the loudspeaker brings."""

import numpy as np
import pytest
import scipy.signal
import scipy.stats

from distort.analysis import hiss as module
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.hiss import HissResult, HissTotal, _brought, _Heard, _heard, _parts, _unrest, hiss
from distort.analysis.multitone.hum_lines import SteadySounds
from distort.analysis.sweep.sweeps import Reference

RATE = 2000
INF = np.inf
PER_DEVIATION_DB = 1.959964 * 10.0 / np.log(10.0)
"""Half-width in dB of the 95 % interval of a power, per its relative standard deviation (normal distribution)."""


def level_db(power: object) -> np.ndarray:
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(np.asarray(power, dtype=float)))


def result(on, off, floor, error) -> HissResult:
    """Of powers, at 100 and 1000 Hz."""
    on_db, off_db, floor_db, error_db = (level_db(one) for one in (on, off, floor, error))
    return HissResult(
        frequency_hz=np.array([100.0, 1000.0]),
        unit="db_spl",
        on_db=on_db,
        off_db=off_db,
        floor_db=floor_db,
        error_db=error_db,
        tones_db=np.full(2, np.nan),
    )


# --- what is told -----------------------------------------------------------------------------------------------------


def test_a_net_that_is_no_higher_than_its_floor_is_not_told() -> None:
    """100 less nothing is 100, as the floor is in the first band; it is higher than 50 in the second."""
    found = result([100.0, 100.0], [0.0, 0.0], [100.0, 50.0], [7.0, 7.0])
    assert np.isnan(found.hiss_db[0])
    assert found.hiss_db[1] == pytest.approx(20.0)
    assert np.isnan(found.uncertainty_db[0])
    assert found.uncertainty_db[1] == pytest.approx(PER_DEVIATION_DB * 0.07)
    np.testing.assert_allclose(result([30.0, 7.0], [10.0, 9.0], [1.0, 1.0], [1.0, 1.0]).net_power, [20.0, -2.0])


def test_the_sum_over_bands_is_weighted_and_takes_floors_and_errors_as_one() -> None:
    """Weighting A is -19.1 dB at 100 Hz and 0 at 1 kHz (IEC 61672-1, table 3, from memory; rounded to 0.1 dB, so
    within 1.2 %). A band that was not read adds nothing."""
    found = result([3000.0, 30.0], [1000.0, 10.0], [400.0, 3.0], [200.0, 2.0]).a_weighted
    gain = 10.0**-1.91
    assert found.net == pytest.approx(2000.0 * gain + 20.0, rel=0.012)
    assert found.error == pytest.approx(200.0 * gain + 2.0, rel=0.012)
    assert found.floor == pytest.approx(400.0 * gain + 3.0, rel=0.012)
    assert found.off_db == pytest.approx(float(level_db(1000.0 * gain + 10.0)), abs=0.05)
    alone = result([np.nan, 30.0], [np.nan, 10.0], [np.nan, 3.0], [np.nan, 2.0]).a_weighted
    assert (alone.net, alone.floor) == (pytest.approx(20.0, rel=1e-3), pytest.approx(3.0, rel=1e-3))


def total(net: float, floor: float, error: float = 2.0) -> HissTotal:
    return HissTotal(net=net, error=error, floor=floor, off_db=20.0)


def test_a_sum_is_told_above_its_floor_and_less_noise_below_it() -> None:
    assert [total(net, 10.0).told for net in (10.0, 10.1)] == [False, True]
    assert [total(net, 10.0).louder_off for net in (-10.0, -10.1, 10.1)] == [False, True, False]
    assert total(100.0, 10.0).level_db == pytest.approx(20.0)
    assert total(100.0, 10.0).uncertainty_db == pytest.approx(PER_DEVIATION_DB * 0.02)
    assert np.isnan(total(9.0, 10.0).level_db)
    assert np.isnan(total(9.0, 10.0).uncertainty_db)


def test_hiss_lies_below_the_upper_end_and_never_below_the_floor() -> None:
    assert total(6.0, 1.0).bound_db == pytest.approx(float(level_db(6.0 + 1.959964 * 2.0)))
    assert total(6.0, 100.0).bound_db == pytest.approx(20.0)


# --- parts of a silence -----------------------------------------------------------------------------------------------


def silence(seconds: float, first: float = 0.0) -> np.ndarray:
    return first + np.arange(round(seconds * RATE))


@pytest.mark.parametrize(
    ("seconds", "of_each_s", "count"),
    [
        ((4.0,), 2.0, 2),
        ((3.9995,), 2.0, 1),  # a sample short of two
        ((6.5, 2.0), 2.0, 4),
        ((1.5, 3.2), 1.5, 3),
        ((1.0, 0.999), 1.0, 1),  # of a second at least
        ((0.999, 4.0), 2.0, 2),
        ((0.5,), None, 0),
    ],
)
def test_silences_are_read_in_equal_parts_of_two_seconds_or_less(seconds, of_each_s, count) -> None:
    found = _parts([silence(one, 1e6 * k) for k, one in enumerate(seconds)], RATE)
    assert len(found) == count
    assert {one.size for one in found} == ({round(of_each_s * RATE)} if count else set())


def test_parts_lie_side_by_side() -> None:
    found = _parts([silence(5.0), silence(2.1, 1e6)], RATE)
    assert [one[0] for one in found] == [0.0, 2.0 * RATE, 1e6]


# --- bands without tones ----------------------------------------------------------------------------------------------

MIDDLE_HZ = np.array([100.0, 200.0])
LINES_HZ = np.arange(8, 400, 4)
"""Far enough apart for their lobes of +-1 Hz under a Hann window: a second holds whole periods of each."""

LINES = 0.01 + 1e-4 * np.arange(LINES_HZ.size)


def lines(seconds: float) -> np.ndarray:
    t = np.arange(round(seconds * RATE)) / RATE
    return np.asarray(np.sum(LINES[:, None] * np.cos(2.0 * np.pi * LINES_HZ[:, None] * t), axis=0))


def by_hand(tone_hz: float | None, *, microphone_power: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """Power of each band and the bins that are left of it. A cosine of amplitude a under a Hann window has the density
    a^2 / 3 in its own bin of 1 Hz and a^2 / 12 in either neighbour (a^2 / 2 in all; the window's lines are 1, -1/2)."""
    density = np.zeros(RATE // 2 + 1)
    for hz, amplitude in zip(LINES_HZ, LINES, strict=True):
        density[hz] += amplitude**2 / 3.0
        density[[hz - 1, hz + 1]] += amplitude**2 / 12.0
    power, left = [], []
    for middle in MIDDLE_HZ:
        low, high = middle * 10.0**-0.05, middle * 10.0**0.05
        held = weights = 0.0
        for k, value in enumerate(density):
            share = max(min(high, k + 0.5) - max(low, k - 0.5), 0.0)
            if tone_hz is None or abs(k - tone_hz) > 3.0:
                held, weights = held + share * value, weights + share
        power.append(held / weights * (high - low) / microphone_power)
        left.append(weights)
    return np.array(power), np.array(left)


def hann_bins() -> float:
    """Sum of the squared correlations of bins under a Hann window, from the window itself: 35 / 18."""
    window = scipy.signal.windows.hann(4096, sym=False)
    lines_of_square = np.abs(np.fft.fft(window**2)) / np.sum(window**2)
    return float(np.sum(lines_of_square**2))


def half_overlap() -> float:
    """Squared correlation of bins of two Hann windows that overlap by half, from the windows themselves: 1 / 36."""
    window = scipy.signal.windows.hann(4096, sym=False)
    return float(np.sum(window[:2048] * window[2048:]) / np.sum(window**2)) ** 2


def read(seconds: float, tone_hz: tuple[float, ...] = (), microphone: MicrophoneResponse | None = None) -> _Heard:
    return _heard([lines(seconds)], RATE, MIDDLE_HZ, tone_hz=np.array(tone_hz), microphone=microphone)


@pytest.mark.parametrize("tone_hz", [None, 99.0, 104.0, 89.1])
def test_a_band_is_filled_with_the_mean_of_what_tones_leave(tone_hz) -> None:
    """3 Hz to either side, ends included: from 96 to 102 Hz of a tone at 99 Hz, from 87 to 92 of one at 89.1."""
    expected, left = by_hand(tone_hz)
    found = read(1.0, () if tone_hz is None else (tone_hz,))
    np.testing.assert_allclose(found.parts[0], expected, rtol=1e-9)
    np.testing.assert_allclose(found.freedom, 2.0 * left / hann_bins(), rtol=1e-3)
    assert found.mean == pytest.approx(found.parts[0])


@pytest.mark.parametrize(
    ("tones_hz", "known"),
    [
        # 89.13 to 112.20 Hz: all above 105.5 Hz is left, 29.0 %, or three eighths of a bin at the other end as well
        ((93.0, 100.0, 102.0), True),
        ((92.0, 99.0, 102.0), False),
    ],
)
def test_three_tenths_of_a_band_speak_for_it(tones_hz, known) -> None:
    found = read(1.0, tones_hz)
    assert np.isfinite(found.parts[0]).tolist() == [known, True]
    assert np.isfinite(found.freedom).tolist() == [known, True]


def test_the_microphone_is_taken_off() -> None:
    microphone = MicrophoneResponse(frequency_hz=np.array([10.0, 1000.0]), level_db=np.array([6.0, 6.0]))
    expected, _ = by_hand(None, microphone_power=10.0**0.6)
    np.testing.assert_allclose(read(1.0, microphone=microphone).parts[0], expected, rtol=1e-9)


@pytest.mark.parametrize(("seconds", "blocks"), [(1.0, 1), (1.49, 1), (1.5, 2), (2.0, 3)])
def test_blocks_that_overlap_by_half_tell_less_each(seconds, blocks) -> None:
    """`2 blocks / (1 + 2 r (blocks - 1) / blocks)` degrees of freedom an independent bin (Welch 1967)."""
    overlap = 1.0 + 2.0 * half_overlap() * (blocks - 1) / blocks
    _, left = by_hand(None)
    np.testing.assert_allclose(read(seconds).freedom, 2.0 * left / hann_bins() * blocks / overlap, rtol=1e-3)


def test_a_band_narrower_than_two_bins_has_two_degrees_of_freedom() -> None:
    """1.6 bins about 7 Hz: fewer than one independent value there cannot be."""
    found = _heard([lines(1.0)], RATE, np.array([7.0]), tone_hz=np.zeros(0), microphone=None)
    assert found.freedom[0] == pytest.approx(2.0)


# --- how restless -----------------------------------------------------------------------------------------------------


def heard_parts(parts: object, freedom: float) -> _Heard:
    values = np.asarray(parts, dtype=float)
    return _Heard(parts=values, freedom=np.full(values.shape[1], freedom))


def test_unrest_is_what_parts_scatter_beyond_their_length_in_five_bands() -> None:
    """Of two and three parts: (2 + 0.08) / 3 is the variance in one of nine bands, less 2 / 40 of the freer side; the
    others are calm, with -2 / 40 each. Bands that are not read do not count."""
    one, other = np.ones((2, 9)), np.ones((3, 9))
    one[:, 4] = 2.0, 0.0
    other[:, 4] = 1.2, 0.8, 1.0
    restless = (2.0 + 0.08) / 3.0 - 0.05
    found = _unrest([heard_parts(one, 40.0), heard_parts(other, 10.0)])
    np.testing.assert_allclose(found[2:7], (restless - 4 * 0.05) / 5.0)
    np.testing.assert_allclose(found[[0, 1, 7, 8]], 0.0)
    np.testing.assert_allclose(_unrest([heard_parts(other, 10.0), heard_parts(one, 40.0)]), found)
    one[:, 3] = np.nan
    found = _unrest([heard_parts(one, 40.0), heard_parts(other, 10.0)])
    np.testing.assert_allclose(found[4], (restless - 3 * 0.05) / 4.0)
    one[:, [0, 1, 2, 5, 6, 7, 8]] = np.nan
    found = _unrest([heard_parts(one, 40.0), heard_parts(other, 10.0)])
    np.testing.assert_allclose(found, [0.0, 0.0, *[restless] * 5, 0.0, 0.0])
    np.testing.assert_allclose(_unrest([heard_parts(np.full((2, 9), np.nan), 9.0)] * 2), 0.0)


def test_unrest_at_the_ends_is_that_of_the_bands_there_are() -> None:
    parts = np.ones((2, 9))
    parts[:, 0] = 2.0, 0.0
    found = _unrest([heard_parts(parts, 1e12)] * 2)
    np.testing.assert_allclose(found[:3], [2.0 / 3.0, 2.0 / 4.0, 2.0 / 5.0])


# --- floor and interval -----------------------------------------------------------------------------------------------


def test_net_floor_and_error_by_the_formulas(monkeypatch) -> None:
    """`N^2 (2 / n_N + w^2 / m_N) + S^2 (2 / n_S + w^2 / m_S)`, and `S sqrt((F - 1)^2 + (3.3 w)^2 (1 / m_N + 1 / m_S))`,
    F passed once in 2,000 (scipy.stats.f). Of two parts on and three off, whose degrees of freedom are n / m each. A
    full-scale sine, of power 1/2, stands for 100 dB."""
    on = heard_parts([[7.0] * 5, [5.0] * 5], 30.0)
    off = heard_parts([[1.1] * 5, [0.9] * 5, [1.0] * 5], 15.0)
    given = [on, off]
    monkeypatch.setattr(module, "_heard", lambda *_, **__: given.pop(0))
    monkeypatch.setattr(module, "midbands_hz", lambda **_: 1000.0 * 10.0 ** (np.arange(5) / 10.0))
    found = hiss(
        [silence(4.0)],
        [silence(6.0)],
        sample_rate=RATE,
        microphone=None,
        reference=Reference(offset_db=100.0, unit="db_spl"),
    )
    assert found is not None
    unrest = (2.0 / 36.0 + 0.02) / 3.0 - 2.0 / 30.0
    unrest = max(unrest, 0.0)
    net_db, floor_db, error_db = by_formula(6.0, 1.0, unrest)
    assert unrest == 0.0  # calmer than chance
    np.testing.assert_allclose(level_db(found.net_power), net_db)
    np.testing.assert_allclose(found.floor_db, floor_db)
    np.testing.assert_allclose(found.error_db, error_db)
    assert found.unit == "db_spl"
    restless = [
        heard_parts([[9.0] * 5, [3.0] * 5], 30.0),
        heard_parts([[0.5] * 5, [1.5] * 5, [1.0] * 5], 15.0),
    ]
    monkeypatch.setattr(module, "_heard", lambda *_, **__: restless.pop(0))
    found = hiss(
        [silence(4.0)], [silence(6.0)], sample_rate=RATE, microphone=None, reference=Reference(offset_db=100.0)
    )
    assert found is not None
    net_db, floor_db, error_db = by_formula(6.0, 1.0, (0.5 + 0.5) / 3.0 - 2.0 / 30.0)
    np.testing.assert_allclose(level_db(found.net_power), net_db)
    np.testing.assert_allclose(found.floor_db, floor_db)
    np.testing.assert_allclose(found.error_db, error_db)


def by_formula(on: float, off: float, unrest: float) -> tuple[float, float, float]:
    """Levels of net, floor and error, of 60 degrees of freedom in two parts and 45 in three."""
    over = float(scipy.stats.f.isf(1.0 / 2000.0, 60.0, 45.0)) - 1.0
    floor = off * np.sqrt(over**2 + 3.3**2 * unrest * (1.0 / 2.0 + 1.0 / 3.0))
    variance = on**2 * (2.0 / 60.0 + unrest / 2.0) + off**2 * (2.0 / 45.0 + unrest / 3.0)
    net_db, floor_db, error_db = (
        100.0 + 10.0 * np.log10(2.0 * power) for power in (on - off, floor, float(np.sqrt(variance)))
    )
    return net_db, floor_db, error_db


@pytest.mark.parametrize(("on_s", "off_s", "told"), [(4.0, 4.0, True), (4.0, 3.9, False), (3.9, 4.0, False)])
def test_two_parts_of_either_are_needed(on_s, off_s, told) -> None:
    random = np.random.default_rng(4)
    on, off = (random.standard_normal(round(seconds * RATE)) for seconds in (on_s, off_s))
    found = hiss([on], [off], sample_rate=RATE, microphone=None, reference=Reference())
    assert (found is not None) == told


@pytest.mark.parametrize(
    ("rate", "first_hz", "last_hz"), [(2000, 40.0, 800.0), (1800, 40.0, 630.0), (48000, 40.0, 16000.0)]
)
def test_third_octaves_are_read_from_40_hz_to_16_khz(rate, first_hz, last_hz) -> None:
    """Or to 0.44 of the sample rate: 880 Hz holds the one at 794.3, 792 does not. Nominal names are within 2 %."""
    noise = np.random.default_rng(4).standard_normal(4 * rate)
    found = hiss([noise], [noise], sample_rate=rate, microphone=None, reference=Reference())
    assert found is not None
    assert found.frequency_hz[[0, -1]] == pytest.approx([first_hz, last_hz], rel=0.02)


# --- tones that it brings ---------------------------------------------------------------------------------------------


def tones(*pairs: tuple[float, float]) -> SteadySounds:
    return SteadySounds(frequency_hz=np.array([hz for hz, _ in pairs]), power=np.array([power for _, power in pairs]))


@pytest.mark.parametrize(
    ("on", "off", "expected"),
    [
        ([(98.0, 5.0)], [], [5.0, np.nan]),
        ([(98.0, 5.0), (105.0, 2.0), (200.0, 1.0)], [], [7.0, 1.0]),
        ([(98.0, 5.0)], [(101.0, 2.4)], [2.6, np.nan]),  # over twice as strong, 3 Hz away
        ([(98.0, 5.0)], [(101.0, 2.6)], [np.nan, np.nan]),
        ([(98.0, 5.0)], [(101.0, 2.5)], [np.nan, np.nan]),
        ([(98.0, 5.0)], [(101.1, 2.6), (50.0, 9.0)], [5.0, np.nan]),  # other tones
        ([(98.0, 5.0)], [(95.0, 1.0), (99.0, 1.3)], [2.7, np.nan]),
        ([(150.0, 5.0)], [], [np.nan, np.nan]),  # between the bands
    ],
)
def test_tones_count_where_they_are_over_twice_as_strong_with_it_on(on, off, expected) -> None:
    np.testing.assert_allclose(_brought(tones(*on), tones(*off), MIDDLE_HZ, None), expected)


def test_a_tone_on_the_edge_belongs_to_the_band_above() -> None:
    middle_hz = 100.0 * 10.0 ** (np.arange(2) / 10.0)
    edge_hz = float(middle_hz[1] / (10.0**0.3) ** (0.5 / 3.0))
    found = _brought(tones((edge_hz, 3.0)), tones(), middle_hz, None)
    assert np.isfinite(found).tolist() == [False, True]
    top_hz = float(middle_hz[1] * (10.0**0.3) ** (0.5 / 3.0))
    assert np.isnan(_brought(tones((top_hz, 3.0)), tones(), middle_hz, None)).all()


def test_a_tone_is_read_without_the_microphone() -> None:
    microphone = MicrophoneResponse(frequency_hz=np.array([10.0, 1000.0]), level_db=np.array([6.0, 6.0]))
    found = _brought(tones((98.0, 5.0)), tones((98.0, 1.0)), MIDDLE_HZ, microphone)
    assert found[0] == pytest.approx(4.0 / 10.0**0.6)
