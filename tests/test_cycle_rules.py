"""Whether sounds keep step with a sweep's cycles: sums by hand, which cycles are looked at, and each limit from both
sides."""

import math

import numpy as np
import pytest

from distort.analysis.sweep import cycles
from distort.analysis.sweep.cycles import Step, _common_power, _common_share, _cycle, _levels, _strikes, in_step
from signals import Sweep

SWEEP = Sweep(seconds=10.0, start_hz=10.0, full_level_hz=20.0, stop_hz=20000.0)
LENGTH_S = round(10.0 * 10.0 / math.log(2000.0)) / 10.0
"""Seconds in which its frequency rises e-fold, a whole number of periods of 10 Hz (Novak et al., 2015, from memory)."""


# --- the verdict ------------------------------------------------------------------------------------------------------

NOT = {"share": 0.0, "agreement": 0.0, "power": 0.0, "power_agreement": 0.0, "strikes": 0.0}


@pytest.mark.parametrize(
    ("limits", "others"),
    [
        ({"share": 0.03}, {"agreement": 0.6, "power_agreement": 0.1}),
        ({"agreement": 0.5}, {"share": 0.1, "power_agreement": 0.1}),
        ({"share": 0.015}, {"strikes": 6.0}),
        ({"power": 0.03}, {"power_agreement": 0.9}),
        ({"power_agreement": 0.75}, {"power": 0.1}),
        ({"strikes": 5.0}, {"share": 0.02}),
        ({"strikes": 5.0}, {"share": 0.02, "agreement": 0.6}),
        ({"strikes": 5.0}, {"share": 0.02, "power_agreement": 0.6}),
        ({"strikes": 2.2}, {"share": 0.02, "agreement": 0.4, "power_agreement": 0.4}),
        ({"agreement": 0.3}, {"share": 0.02, "strikes": 3.0, "power_agreement": 0.4}),
        ({"power_agreement": 0.2}, {"share": 0.02, "strikes": 3.0, "agreement": 0.4}),
    ],
)
def test_each_limit_of_keeping_step(limits, others):
    """5 % either side of the numbers that were tuned on made parts; what lies exactly there does not keep step."""
    for name, limit in limits.items():
        for factor, kept in ((0.95, False), (1.0, False), (1.05, True)):
            assert Step(**{**NOT, **others, name: factor * limit}).kept == kept


def test_what_cannot_be_told_keeps_no_step():
    assert (cycles.UNKNOWN.known, cycles.UNKNOWN.kept) == (False, False)
    assert Step(**NOT).known


# --- sums by hand -----------------------------------------------------------------------------------------------------


def test_the_share_of_the_level_that_all_cycles_have_in_common():
    """Odd: -1, 1; even: -2, 2: their mean product 2, of all squares 2.5 in the mean, is 0.8; they agree wholly. A level
    that a whole cycle has more of says nothing."""
    share, agreement = _common_share(np.array([[1.0, 3.0], [12.0, 16.0]]))
    assert (share, agreement) == (pytest.approx(0.8), pytest.approx(1.0))
    share, agreement = _common_share(np.array([[1.0, 3.0], [16.0, 12.0]]))
    assert (share, agreement) == (pytest.approx(-0.8), pytest.approx(-1.0))
    assert _common_share(np.ones((4, 3))) == (0.0, 0.0)


def test_cycles_that_agree_in_part():
    """Odd: -1, 0, 1; even: 1, -2, 1: nothing in common. With 0, -1, 1: 1/3, of sqrt(2/3 x 2/3)."""
    assert _common_share(np.array([[-1.0, 0.0, 1.0], [1.0, -2.0, 1.0]]))[1] == pytest.approx(0.0)
    share, agreement = _common_share(np.array([[-1.0, 0.0, 1.0], [0.0, -1.0, 1.0]]))
    assert (share, agreement) == (pytest.approx((1 / 3) / (2 / 3)), pytest.approx(0.5))


def powers(count: int) -> np.ndarray:
    """`count` odd and as many even cycles of power 1 and 3 in two parts."""
    return np.tile([1.0, 3.0], (2 * count, 1))


def test_the_power_that_odd_and_even_cycles_have_in_common():
    """Re their mean -0.5 and 0.5: 0.25 in common; how loud the even ones are does not matter."""
    louder = powers(4) * np.where(np.arange(8) % 2, 5.0, 1.0)[:, np.newaxis]
    assert _common_power(louder) == (pytest.approx(0.25), pytest.approx(1.0))
    turned = powers(4)
    turned[1::2] = turned[1::2, ::-1]
    assert _common_power(turned) == (pytest.approx(-0.25), pytest.approx(-1.0))


@pytest.mark.parametrize(("count", "strokes", "left_out"), [(4, 1, True), (4, 2, False), (20, 2, True), (20, 3, False)])
def test_a_tenth_of_the_cycles_may_hold_strokes_and_one_of_few(count, strokes, left_out):
    struck = np.full((2 * count, 2), 1.0)
    struck[0 : 4 * strokes : 4, 0] = struck[1 : 4 * strokes : 4, 0] = 1e3
    assert (_common_power(struck)[0] == pytest.approx(0.0)) == left_out


@pytest.mark.parametrize(("over", "told"), [(0.19, False), (0.21, True)])
def test_power_says_something_from_a_fifth_of_the_noise_on(over, told):
    for quiet in (0, 1):
        power = powers(4)
        power[quiet::2] *= over / 2.0  # the mean of 1 and 3
        assert _common_power(power) == ((pytest.approx(0.25), pytest.approx(1.0)) if told else (0.0, 0.0))


def struck(*cycles_: tuple[int, float]) -> np.ndarray:
    """Log levels of cycles of twelve parts, each with one loud part `(part, level)`, and a quiet cycle on either side
    of each so that no mean of a cycle about it holds another's stroke."""
    level = np.zeros((2 * len(cycles_) + 1, 12))
    for number, (part, height) in enumerate(cycles_):
        level[2 * number + 1, part] = height
    return level


@pytest.mark.parametrize(
    ("strokes", "expected"),
    [
        (((3, 1.0), (3, 1.0), (3, 1.0)), 3.0),
        (((3, 1.0), (9, 1.0)), 0.0),
        (((0, 1.0), (3, 1.0)), 1.0),
        (((0, 1.0), (2, 1.0)), (2.0 + 2.0 * math.cos(math.pi / 3.0)) / 2.0),
        (((11, 1.0), (11, 3.0)), 16.0 / 10.0),
    ],
)
def test_strokes_by_rayleighs_sum(strokes, expected):
    """`|sum w exp(i phase)|^2 / sum w^2` with 30 degrees to a part."""
    assert _strikes(struck(*strokes)) == pytest.approx(expected, abs=1e-12)


def test_a_stroke_counts_from_the_mean_of_the_cycle_about_it():
    """Six parts before it to five after it: what lies beyond does not lower it, what lies within does by a twelfth."""
    for beside, lowered in ((-7, False), (-6, True), (5, True), (6, False)):
        level = np.zeros((9, 12))
        level[2, 6] = 1.0
        level.ravel()[2 * 12 + 6 + beside] = 0.5
        level[6, 0] = 1.0  # alone: 11/12
        own = 1.0 - (1.5 if lowered else 1.0) / 12.0
        alone = 11.0 / 12.0
        weights = {(2, 6): own, (6, 0): alone}
        other = (24 + 6 + beside) // 12
        if other != 2:  # a weak stroke of a cycle of its own
            inside = -5 <= beside <= 6  # of its own mean: six before it to five after it
            weights[(other, (6 + beside) % 12)] = 0.5 - (1.5 if inside else 0.5) / 12.0
        turns = {place: np.exp(2j * np.pi * place[1] / 12.0) for place in weights}
        total = abs(sum(weight * turns[place] for place, weight in weights.items())) ** 2
        assert _strikes(level) == pytest.approx(total / sum(weight**2 for weight in weights.values()))


# --- levels within cycles ---------------------------------------------------------------------------------------------

RATE = 8000


def tone(hz: float, seconds: float = 1.0) -> np.ndarray:
    return np.sin(2.0 * np.pi * hz * np.arange(round(seconds * RATE)) / RATE)


def test_the_mean_square_of_each_part_within_the_band():
    """Parts of a tenth of a second of 0, 1, 2 and 3 times a tone of 1 kHz, 1/2 of the square each; 3 kHz and 300 Hz are
    outside. Where the amplitude jumps the band spreads it by about 1 ms: 2 % of the part's energy."""
    step = np.repeat([0.0, 0.0, 1.0, 2.0, 3.0, 3.0], 800)
    samples = step * tone(1000.0, 0.6) + tone(3000.0, 0.6) + tone(300.0, 0.6)
    found = _levels(samples, RATE, edges=np.array([800.0, 1600.0, 2400.0, 3200.0, 4000.0]), band_hz=(600.0, 2000.0))
    np.testing.assert_allclose(found, [0.0, 0.5, 2.0, 4.5], atol=0.1)


def test_parts_may_end_between_samples():
    samples = tone(1000.0)
    whole = _levels(samples, RATE, edges=np.array([2000.0, 2004.0]), band_hz=(600.0, 2000.0))
    halves = _levels(samples, RATE, edges=np.array([2000.0, 2001.5, 2004.0]), band_hz=(600.0, 2000.0))
    assert 1.5 * halves[0] + 2.5 * halves[1] == pytest.approx(4.0 * whole[0])


def test_the_bins_on_the_edges_belong_to_the_band():
    """8,000 samples have bins of 1 Hz."""
    samples, edges = tone(1000.0), np.array([240.0, 7760.0])
    for own, wider in (((1000.0, 2000.0), (999.5, 2000.0)), ((500.0, 1000.0), (500.0, 1000.5))):
        level = _levels(samples, RATE, edges=edges, band_hz=own)
        assert level == _levels(samples, RATE, edges=edges, band_hz=wider)
        assert level > 0.1


def test_what_lies_over_30_milliseconds_outside_says_nothing():
    samples = tone(1000.0)
    edges = np.array([2000.0, 2400.0, 2800.0])
    alone = _levels(samples, RATE, edges=edges, band_hz=(600.0, 2000.0))
    samples[[2000 - 241, 2800 + 240]] = 1e6
    np.testing.assert_array_equal(_levels(samples, RATE, edges=edges, band_hz=(600.0, 2000.0)), alone)
    samples[[2000 - 120, 2800 + 120]] = 1e6
    assert not np.array_equal(_levels(samples, RATE, edges=edges, band_hz=(600.0, 2000.0)), alone)


def test_nothing_is_taken_from_before_or_after_the_recording():
    """The energy of parts that the recording does not hold is nothing."""
    found = _levels(
        tone(1000.0), RATE, edges=np.array([-800.0, -400.0, 4000.0, 8000.0, 8400.0]), band_hz=(600.0, 2000.0)
    )
    assert (found[0], found[3]) == (0.0, 0.0)
    assert found[1] == pytest.approx(found[2], rel=0.02)


def test_a_recording_shorter_than_two_fades_is_faded_all_over():
    """Under Hann's window, `sin^2(pi k / 400)`: the mean square of a part is the mean of half of its square there. Its
    own bend puts under 1 % of a part elsewhere."""
    edges = np.array([90.0, 150.0, 210.0, 270.0])
    found = _levels(tone(1000.0, 0.05), RATE, edges=edges, band_hz=(600.0, 2000.0))
    squares = 0.5 * np.sin(np.pi * np.arange(90, 270) / 400.0) ** 4
    assert found == pytest.approx(np.mean(squares.reshape(3, 60), axis=1), rel=0.01)


# --- which cycles are looked at ---------------------------------------------------------------------------------------


def cycle_at(time_s: float) -> int:
    """Of `f1 L (exp(t / L) - 1)` turns until then, that which has begun."""
    return math.floor(10.0 * LENGTH_S * (math.exp(time_s / LENGTH_S) - 1.0))


def test_the_cycle_that_the_sweep_is_in():
    for time_s in (0.0, 0.3, 1.0, 4.0, 7.5):
        assert _cycle(SWEEP, time_s) == cycle_at(time_s)


class Levels:
    """In place of what is measured: levels that a test chooses, and what was asked for."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.chosen = lambda level, first: level
        monkeypatch.setattr(cycles, "_levels", self)

    def __call__(self, samples, rate, *, edges, band_hz):
        self.edges, self.band_hz = edges, band_hz
        turns = 10.0 * LENGTH_S * np.expm1((edges - 100.5) / rate / LENGTH_S)
        np.testing.assert_allclose(np.diff(turns), 1.0 / 12.0, rtol=1e-6)
        self.before, self.after = round(turns[0]), round(turns[-1])
        return self.chosen(np.ones((self.after - self.before, 12)), self.before).ravel()


def look(from_s: float, to_s: float, sweep: Sweep = SWEEP) -> Step:
    return in_step(np.zeros(1), sweep, start=100.5, from_s=from_s, to_s=to_s)


@pytest.mark.parametrize(
    ("from_s", "to_s"), [(0.05, 0.06), (0.42, 0.43), (0.52, 0.53), (0.6, 0.62), (1.0, 1.02), (1.0, 1.4), (2.0, 2.6)]
)
def test_eight_cycles_or_as_many_as_it_lasts_and_what_lies_beside_them(from_s, to_s, monkeypatch):
    """Short ones are widened alike on both sides; beside them 0.3 s, after them two cycles at least. A stroke in one
    cycle makes Rayleigh's sum 1 where the cycle is looked at, and nothing elsewhere."""
    levels = Levels(monkeypatch)
    more = -(-max(8 - (cycle_at(to_s) + 1 - cycle_at(from_s)), 0) // 2)
    first, end = max(cycle_at(from_s) - more, 0), cycle_at(to_s) + 1 + more
    look(from_s, to_s)
    assert levels.before == min(max(cycle_at(from_s - 0.3), 0), first)
    assert levels.after == max(cycle_at(to_s + 0.3), end + 2)
    for number in range(levels.before, levels.after):

        def stroke(level, before, number=number):
            level[number - before, 4] = 3.0
            return level

        levels.chosen = stroke
        assert look(from_s, to_s).strikes == pytest.approx(1.0 if first <= number < end else 0.0)


@pytest.mark.parametrize("rows", [1, 2])
def test_two_cycles_beside_it_tell_the_usual_and_one_does_not(rows, monkeypatch):
    """All before it is silent: where that counts, the sound in question stands over nothing, else it is the usual."""
    times_s = np.arange(0.5, 2.0, 0.001)
    from_s = next(one for one in times_s if cycle_at(one) - 4 - cycle_at(one - 0.3) == rows)
    first = cycle_at(from_s) - 4
    levels = Levels(monkeypatch)

    def silent_before(level, before):
        level[: first - before] = 1e-3
        return level

    levels.chosen = silent_before
    monkeypatch.setattr(cycles, "_strikes", lambda level: float(np.max(level)))
    assert look(from_s, from_s).strikes == pytest.approx(math.log(1e3) if rows == 2 else 0.0)


def test_the_usual_is_taken_off_part_by_part_and_counts_as_one(monkeypatch):
    """The quieter side tells it. Parts 2 and 7: 4 over the usual mean of 2, so ln 5 and 4 re it; its own pattern in
    part 5 does not count. The cycle's mean of 4 / 6 over passes a fifth; -1 and 5 in common: (10 + 2 x 25) / 12."""
    levels = Levels(monkeypatch)
    first, end = cycle_at(1.0), cycle_at(1.6) + 1

    def of(level, before):
        level[:] = 1.0
        level[:, 5] = 13.0
        level[end - before :] *= 3.0
        level[first - before : end - before, [2, 7]] += 8.0
        return level

    levels.chosen = of
    found = look(1.0, 1.6)
    assert (found.power, found.power_agreement) == (pytest.approx(5.0), pytest.approx(1.0))
    # of the first and the last half cycle the mean about them is that of a half: 1 of 24 half cycles, off by up to 0.1
    assert (found.share, found.agreement) == (pytest.approx(1.0, abs=0.004), pytest.approx(1.0, abs=0.004))
    assert found.strikes == pytest.approx(end - first)


@pytest.mark.parametrize(("rate", "stop_hz", "highest_hz"), [(48000, 20000.0, 16000.0), (32000, 15000.0, 14400.0)])
def test_the_band_begins_beyond_the_twelfth_order_and_spans_an_octave(rate, stop_hz, highest_hz, monkeypatch):
    """From 500 Hz up at least, to 16 kHz or 0.45 of the sample rate; cycle k begins at `f1 + k / L`. Where that leaves
    no octave, two cycles after the eight about it are all that is looked at."""
    asked = {}

    def levels(_samples, _rate, *, edges, band_hz):
        asked.update(band_hz=band_hz)
        return np.ones(edges.size - 1)

    monkeypatch.setattr(cycles, "_levels", levels)
    sweep = Sweep(seconds=10.0, start_hz=10.0, full_level_hz=20.0, stop_hz=stop_hz, sample_rate=rate)
    length_s = round(10.0 * 10.0 / math.log(stop_hz / 10.0)) / 10.0
    seen = set()
    for time_s in np.arange(1.0, 6.5, 0.025):
        turns = 10.0 * length_s * math.expm1((time_s + 0.301) / length_s)
        low_hz = max(12.0 * (10.0 + math.floor(turns) / length_s), 500.0)
        if low_hz > highest_hz / 2.0:
            first, last = (
                math.floor(10.0 * length_s * math.expm1(at_s / length_s)) for at_s in (time_s, time_s + 0.001)
            )
            more = math.ceil((8 - (last + 1 - first)) / 2)
            low_hz = 12.0 * (10.0 + (last + 1 + more + 2) / length_s)
        asked.clear()
        known = look(time_s, time_s + 0.001, sweep).known
        assert known == (low_hz <= highest_hz / 2.0)
        if time_s > 1.5:  # before, two cycles last longer than what lies beside
            assert not known or asked["band_hz"] == pytest.approx((low_hz, highest_hz))
        seen.add((known, low_hz > 500.0))
    assert len(seen) == 3
