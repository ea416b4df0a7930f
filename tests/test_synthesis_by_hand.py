"""Products that are synthesised, written out by hand: Wick's order term by term, a multitone's products tone by tone,
and music of steady tones, whose means over 125 ms are known."""

import itertools

import numpy as np
import pytest
import scipy

from distort.analysis.common.grid import grid_hz, midbands_hz
from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.synthesis.kernels import Step
from distort.analysis.synthesis.products import Played
from distort.analysis.synthesis.programme import _Playing, synthesise
from distort.analysis.synthesis.structure import AFTER, RATE, Kernel, Structure, kernel_of
from distort.analysis.synthesis.ways import Form, Way
from distort.analysis.synthesis.wick import Pairs, pairs_of, wick_product
from distort.errors import AnalysisError
from signals import Multitone
from tests.test_synthesis_rules import spectrum

U, X = np.array([1.5, -0.7, 2.0]), np.array([0.3, 1.1, -2.0])
PAIRS = Pairs(uu=1.3, ux=0.4, xx=0.7)


# --- Wick's order -----------------------------------------------------------------------------------------------------


def written_out(of_u: int, of_x: int) -> np.ndarray:
    """Every way of taking pairs out of so many factors, one by one: minus a mean for each pair (Isserlis, Biometrika
    12, 1918, from memory)."""
    means = {"uu": PAIRS.uu, "ux": PAIRS.ux, "xx": PAIRS.xx}

    def without_pairs(factors: str) -> np.ndarray:
        """Wick's order by its recursion: the first factor times the rest, less its pair with each of the others."""
        if not factors:
            return np.ones(U.size)
        first, rest = factors[0], factors[1:]
        found = (U if first == "u" else X) * without_pairs(rest)
        for place, other in enumerate(rest):
            found = found - means["".join(sorted(first + other))] * without_pairs(rest[:place] + rest[place + 1 :])
        return found

    return without_pairs("u" * of_u + "x" * of_x)


@pytest.mark.parametrize(
    ("of_u", "of_x"), [(q, n - q) for n in (0, 1, 2, 3, 4, 5) for q in range(n + 1)] + [(2, 4), (6, 0)]
)
def test_wick_products_are_those_of_their_recursion(of_u, of_x) -> None:
    """Means that are all different, so that no pair stands for another."""
    made = wick_product(U, X, of_u=of_u, of_x=of_x, pairs=PAIRS)
    np.testing.assert_allclose(made, written_out(of_u, of_x), rtol=1e-12, atol=1e-12)


def test_the_square_and_the_cube_by_hand() -> None:
    square = wick_product(U, X, of_u=1, of_x=1, pairs=PAIRS)
    np.testing.assert_allclose(square, U * X - 0.4, atol=1e-12)
    cube = wick_product(U, X, of_u=2, of_x=1, pairs=PAIRS)
    np.testing.assert_allclose(cube, U * U * X - 1.3 * X - 2.0 * 0.4 * U, atol=1e-12)


def test_pairs_are_means_over_all_samples() -> None:
    found = pairs_of(U, X)
    assert found.uu == pytest.approx((2.25 + 0.49 + 4.0) / 3.0)
    assert found.ux == pytest.approx((0.45 - 0.77 - 4.0) / 3.0)
    assert found.xx == pytest.approx((0.09 + 1.21 + 4.0) / 3.0)


# --- a multitone ------------------------------------------------------------------------------------------------------

TONE = Multitone(
    low_hz=100.0, high_hz=2000.0, lines_per_decade=5.0, period_s=0.1, sample_rate=8000, periods=12, drive_dbfs=-20.0
)
TURNED_DB = 6.0
EVERYWHERE = Way(kernels=(), crossover_hz=None)


def kernel(order: int, *, turned: complex = -1.0) -> Kernel:
    """`3 (f / 1 kHz)^-1/2` turned, straight in the logarithms, so that it is exact between the rows of the grid."""
    found = kernel_of(order, turned * 3.0 * (grid_hz() / 1000.0) ** -0.5 + 0j)
    assert found is not None
    return found


def played(power: np.ndarray | None = None) -> Played:
    flat = np.ones(401) if power is None else power
    return Played(tone=TONE, path=PowerSpectrum(flat, 1.0 / TONE.period_s), turned_db=TURNED_DB)


def tone_by_tone(order: int, filters: list) -> np.ndarray:
    """Amplitudes of all products of `order` tones, each factor by its own filter of frequency; the products that only
    pairs of a tone with itself make are left out, as Wick's order does.

    `Re(a e^jwt)` is half of a at w and half of its conjugate at -w.
    """
    turned = 10.0 ** (TURNED_DB / 20.0)
    lines = turned * TONE.line_amplitudes * np.exp(1j * TONE.line_phases_rad)
    every = [(int(b), 0.5 * a) for b, a in zip(TONE.line_bins, lines, strict=True)]
    every += [(-b, np.conj(a)) for b, a in every]
    made: dict[int, complex] = {}
    for chosen in itertools.product(every, repeat=order):
        places = [b for b, _ in chosen]
        amplitude = np.prod([a * way(abs(b) / TONE.period_s) for (b, a), way in zip(chosen, filters, strict=True)])
        made[sum(places)] = made.get(sum(places), 0.0) + amplitude
    # what the mean square of one pair of factors makes of the others, over all pairs
    for first, second in itertools.combinations(range(order), 2):
        mean = sum(
            a * np.conj(a) * filters[first](abs(b) / TONE.period_s) * filters[second](abs(b) / TONE.period_s)
            for b, a in every
        )
        rest = [place for place in range(order) if place not in (first, second)]
        if not rest:
            made[0] -= mean
        for b, a in every if rest else ():
            made[b] -= mean * a * filters[rest[0]](abs(b) / TONE.period_s)
    found = np.zeros(TONE.period_samples // 2, dtype=complex)
    for b, amplitude in made.items():
        if 0 <= b < found.size:
            found[b] = 2.0 * amplitude
    return found


def one(hz: float) -> float:
    return 1.0


def size_at(hz: np.ndarray) -> np.ndarray:
    """Of the kernel. Below the first row of the grid a curve keeps its size."""
    return 3.0 * (np.maximum(hz, grid_hz()[0]) / 1000.0) ** -0.5


@pytest.mark.parametrize("order", [2, 3])
@pytest.mark.parametrize("name", ["every", "all but one", "after", "rate"])
def test_a_multitones_products_are_those_of_its_tones(order, name) -> None:
    """Each structure with its filters written out: `|E|^(1/q)` before and -1 after; E(f / n) after; of a rate of change
    `|E / (2 pi n f)|^(1/n)` before and j 2 pi f after, of a kernel that has the phase of j."""
    at_hz = np.arange(TONE.period_samples // 2) / TONE.period_s
    if name == "after":
        got = played().product(kernel(order), Structure(unfiltered=None), EVERYWHERE)
        want = -size_at(at_hz / order) * tone_by_tone(order, [one] * order)
    elif name == "rate":
        got = played().product(kernel(order, turned=1j), Structure(rate=1.0), EVERYWHERE)
        want = tone_by_tone(order, [lambda hz: (size_at(hz) / (2.0 * np.pi * order * hz)) ** (1.0 / order)] * order)
        want = 2j * np.pi * at_hz * want
    else:
        q = order if name == "every" else order - 1
        filters = [lambda hz: size_at(hz) ** (1.0 / q)] * q + [one] * (order - q)
        got = played().product(kernel(order), Structure(unfiltered=float(q != order)), EVERYWHERE)
        want = -tone_by_tone(order, filters)
    assert got.size == at_hz.size  # up to the last bin below half the sample rate
    np.testing.assert_allclose(got, want, rtol=1e-6, atol=1e-9)


def test_parts_of_an_order_add_up_by_their_shares() -> None:
    """A quarter with one factor unfiltered, and of a way that is played its share of each tone."""
    whole = kernel(2)
    parts = played().products(whole, EVERYWHERE, (1, 2, AFTER, RATE))
    mixed = played().product(whole, Structure(unfiltered=0.25), EVERYWHERE)
    np.testing.assert_allclose(mixed, 0.25 * parts[1] + 0.75 * parts[2], rtol=1e-12, atol=1e-15)
    low = played().products(whole, Way(kernels=(), crossover_hz=400.0), (AFTER,))[AFTER]
    at_hz = np.arange(low.size) / TONE.period_s
    want = -size_at(at_hz / 2.0) * tone_by_tone(2, [lambda hz: 1.0 / (1.0 + (hz / 400.0) ** 4)] * 2)
    np.testing.assert_allclose(low, want, rtol=1e-6, atol=1e-9)


def test_products_are_made_up_to_the_third_octave_of_10_khz() -> None:
    """11220 Hz is bin 224.4 of a period of 20 ms; the highest odd products do not fold back onto any."""
    tone = Multitone(low_hz=1000.0, high_hz=20000.0, lines_per_decade=5.0, period_s=0.02, periods=12, drive_dbfs=-20.0)
    high = Played(tone=tone, path=PowerSpectrum(np.ones(481), 50.0))
    assert high.top == 224
    assert high.lines == pytest.approx(tone.line_amplitudes * np.exp(1j * tone.line_phases_rad))
    made = high.products(kernel(5), EVERYWHERE, (5,))[5]
    points = 2**16
    wave = np.zeros(points // 2 + 1, dtype=complex)
    wave[tone.line_bins] = high.lines * size_at(tone.line_hz) ** 0.2 * (points / 2.0)
    u = np.fft.irfft(wave, points)
    mean = np.mean(u * u)
    fifth = u**5 - 10.0 * mean * u**3 + 15.0 * mean**2 * u  # Hermite's polynomial
    np.testing.assert_allclose(made, -np.fft.rfft(fifth)[:225] * (2.0 / points), rtol=1e-6, atol=1e-12)


def test_even_and_odd_of_a_third_octave_by_hand() -> None:
    """The response has the power 1 + f / 1 kHz. Products of amplitude 0.1 on the even bins from 40 on and 0.2 on the
    odd ones; what lies on a line is read beside it. Third octaves of 10^(k/10), their edges a twentieth of a decade
    off (IEC 61260-1)."""
    at_hz = np.arange(401) * 10.0
    one_played = played(1.0 + at_hz / 1000.0)
    made = np.where(np.arange(400) % 2, 0.2, 0.1) + 0j
    made[:40] = 0.0
    made[TONE.line_bins] = 7.0  # cannot be told from the lines
    even_db, odd_db = one_played.even_db(made), one_played.odd_db(made)
    middles = midbands_hz(bands_per_octave=3)
    checked = 0
    for band, middle in enumerate(middles.tolist()):
        inside = (at_hz >= middle * 10**-0.05) & (at_hz < middle * 10**0.05)
        held = [
            10.0**0.6 * 0.5 * a**2 * (1.0 + b * 0.01)
            for a, b in zip(TONE.line_amplitudes, TONE.line_bins.tolist(), strict=True)
            if inside[b]
        ]
        if not held:
            assert np.isnan(even_db[band])
            assert np.isnan(odd_db[band])
            continue
        if middle < 500.0:  # lines among the lowest products
            continue
        bins = np.flatnonzero(inside)
        for parity, amplitude, got in ((0, 0.1, even_db), (1, 0.2, odd_db)):
            power = 0.5 * amplitude**2 * np.sum(1.0 + at_hz[bins[bins % 2 == parity]] / 1000.0)
            assert got[band] == pytest.approx(10.0 * np.log10(power / sum(held)), abs=1e-6)
        checked += 1
    assert checked >= 3


def test_third_octaves_above_10_khz_are_not_read() -> None:
    tone = Multitone(low_hz=4000.0, high_hz=20000.0, lines_per_decade=10.0, period_s=0.02, periods=12)
    at = Played(tone=tone, path=PowerSpectrum(np.ones(481), 50.0))
    found = at.even_db(np.full(at.top + 1, 0.1 + 0j))
    middles = midbands_hz(bands_per_octave=3)
    assert np.isfinite(found[np.argmin(np.abs(middles - 10000.0))])
    assert np.isnan(found[middles > 11000.0]).all()
    assert np.isnan(found[middles < 3900.0]).all()


# --- music ------------------------------------------------------------------------------------------------------------

RATE_HZ = 16000
AFTERWARDS = Form(crossover_hz=None, even=(None,), odd=(None,))


def step(drive_dbfs: float, *, gain: float = 1.0, **kernels: float) -> Step:
    found = {int(name[1:]): np.full(grid_hz().size, value + 0j) for name, value in kernels.items()}
    return Step(drive_dbfs=drive_dbfs, kernels=found, response=spectrum(gain))


def steady(level_dbfs: float, *, seconds: float = 0.5) -> np.ndarray:
    """A tone of 2 kHz at that r.m.s. level, a full-scale sine being 0 dBFS: whole turns in 125 ms, so that every mean
    over them is the same."""
    return 10.0 ** (level_dbfs / 20.0) * np.sin(2.0 * np.pi * 2000.0 * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)


def playing(samples: np.ndarray, *steps: Step) -> _Playing:
    return _Playing(samples=samples, sample_rate=RATE_HZ, steps=steps)


@pytest.mark.parametrize(("order", "rule_db"), [(1, 3.0103), (2, 4.7712), (3, 6.0206), (5, 7.7815)])
def test_a_moment_lies_between_steps_by_its_level_and_the_order(order, rule_db) -> None:
    """Order n is read 10 lg(n + 1) dB above the level: 3 of 10 dB above the lower step."""
    steps = (step(-40.0), step(-30.0), step(0.0))
    weights = list(playing(steady(-37.0 - rule_db), *steps)._weights(order))
    middle = np.array(weights)[:, 2000:6000]
    np.testing.assert_allclose(middle, np.array([[0.7], [0.3], [0.0]]) * np.ones(4000), atol=1e-4)
    below = np.array(list(playing(steady(-60.0), *steps)._weights(order)))
    np.testing.assert_allclose(below[:, 4000], [1.0, 0.0, 0.0])


def test_the_means_of_a_moment_are_taken_at_the_rate_of_its_samples() -> None:
    """x is 1 from one instant on, and u is 2 x: the mean about a sample d before it holds 1/2 - d / 125 ms of it; at
    twice the rate there are twice as many samples in it. The steps of a mean of n samples are 1 / n."""
    fine = 2
    x = np.where(np.arange(fine * RATE_HZ) >= RATE_HZ, 1.0, 0.0)
    place = RATE_HZ - 1000  # 31.25 ms before: a quarter of the mean
    one_playing = playing(np.zeros(RATE_HZ), step(0.0))
    for of_u, of_x, times in ((2, 0, 4.0), (1, 1, 2.0), (0, 2, 1.0)):
        made = one_playing._wick(2.0 * x, x, of_u=of_u, of_x=of_x)
        assert made[place] == pytest.approx(-times * 0.25, abs=times * 3e-4)
        assert made[RATE_HZ + 4000] == pytest.approx(0.0, abs=1e-9)
    np.testing.assert_array_equal(one_playing._wick(2.0 * x, x, of_u=1, of_x=0), 2.0 * x)
    np.testing.assert_array_equal(one_playing._wick(2.0 * x, x, of_u=0, of_x=1), x)


@pytest.mark.parametrize(("order", "harmonic"), [(2, 2), (3, 3), (4, 4), (5, 5)])
def test_a_steady_tones_products_are_hermites(order, harmonic) -> None:
    """`:x^n:` of a sine of amplitude a: its n-th harmonic has `a^n / 2^(n-1)`, whatever the lower ones; of orders 2 and
    3 nothing else but `a^2/2 - a^2/2 = 0` and, since `<xx> = a^2/2`, the fundamental `3/4 a^3 - 3/2 a^3`."""
    x = steady(-12.0, seconds=1.0)
    x = x if order < 4 else 10.0 ** (-12.0 / 20.0) * np.sin(2.0 * np.pi * 1000.0 * np.arange(RATE_HZ) / RATE_HZ)
    hz = 2000 if order < 4 else 1000
    a = 10.0 ** (-12.0 / 20.0)
    made = playing(x, step(-40.0, **{f"e{order}": 0.5}), step(20.0, **{f"e{order}": 0.5})).added(AFTERWARDS)
    middle = made[4000:12000]  # 0.5 s, away from the ends
    lines = np.abs(np.fft.rfft(middle)) / 4000.0
    assert lines[harmonic * hz // 2] == pytest.approx(0.5 * a**order / 2.0 ** (order - 1), rel=1e-3)
    if order == 3:
        assert lines[hz // 2] == pytest.approx(0.5 * 0.75 * a**3, rel=1e-3)
    if order == 2:
        assert lines[0] < 1e-4 * a**2


@pytest.mark.parametrize(("order", "kept"), [(2, []), (3, [7040]), (4, []), (5, [7040])])
def test_what_folds_comes_no_lower_than_045_of_the_sample_rate(order, kept) -> None:
    """A tone at 0.44 of it: below 7.2 kHz its powers hold itself alone, and of even ones what means do not take off,
    within a few hertz of nothing."""
    x = 0.3 * np.sin(2.0 * np.pi * 7040.0 * np.arange(RATE_HZ) / RATE_HZ)
    made = playing(x, step(-40.0, **{f"e{order}": 1.0}), step(20.0, **{f"e{order}": 1.0})).added(AFTERWARDS)
    lines = np.abs(np.fft.rfft(made[4000:12000])) / 4000.0
    found = np.flatnonzero(lines[20:3600] > 1e-3 * 0.3**order) + 20
    assert (2 * found).tolist() == kept


def test_each_order_has_its_own_kernel_and_the_steps_their_weights() -> None:
    """Both orders at once, a level midway between two steps of each order: the mean of both kernels, as they stand in
    the middle between them; a step of which an order is not known gives nothing of it."""
    level = -20.0
    x = steady(level, seconds=1.0)
    a = 10.0 ** (level / 20.0)
    low, high = level + 4.7712 - 5.0, level + 4.7712 + 5.0
    made = playing(x, step(low, e2=1.0), step(high, e2=3.0), step(30.0, e2=9.0)).added(AFTERWARDS)
    lines = np.abs(np.fft.rfft(made[4000:12000])) / 4000.0
    assert lines[2000] == pytest.approx(2.0 * a**2 / 2.0, rel=1e-3)


def test_the_fundamental_changes_by_the_weights_of_its_level() -> None:
    """Half way between a step of 1 and one of half of that: 3/4."""
    x = steady(-20.0 - 3.0103, seconds=0.5)
    changed = playing(x, step(-25.0), step(-15.0, gain=0.5), step(0.0, gain=0.1)).changed()
    middle = slice(2000, 6000)
    np.testing.assert_allclose(changed[middle], 0.75 * x[middle], atol=2e-3 * np.max(x))


def test_a_piece_keeps_its_place_and_half_a_second_of_decay() -> None:
    """Of a path that is a wire nothing comes before it and it begins with its first sample; turned up by 6 dB it is
    twice as large. The sounds last as long as the piece and half a second more, up to what is quickly transformed."""
    x = steady(-40.0, seconds=0.25)
    made = synthesise(x, RATE_HZ, steps=[step(10.0), step(-60.0)], form=AFTERWARDS, turned_db=20.0 * np.log10(2.0))
    np.testing.assert_allclose(made.intended[: x.size], 2.0 * x, atol=1e-9)
    np.testing.assert_allclose(made.intended[x.size :], 0.0, atol=1e-9)
    np.testing.assert_allclose(made.changed, made.intended, atol=1e-9)
    assert not np.any(made.distortion)
    lead, tail = 2000, 8000  # 125 ms and half a second
    assert made.intended.size + lead == scipy.fft.next_fast_len(lead + x.size + tail, real=True)


def test_a_piece_as_loud_as_the_sweeps_tell_is_made_and_one_a_hair_louder_is_not() -> None:
    """Order 5 of it is read 10 lg 6 above its loudest 125 ms."""
    x = steady(-20.0, seconds=0.25)
    top = -20.0 + 10.0 * np.log10(6.0)
    synthesise(x, RATE_HZ, steps=[step(top + 1e-6)], form=AFTERWARDS)
    with pytest.raises(AnalysisError, match=r"are 0\.5 dB beyond what the sweeps tell"):
        synthesise(x, RATE_HZ, steps=[step(top - 0.5)], form=AFTERWARDS)
