"""What a sweep's recording says beside others: closed forms, and just on either side of where each rule turns.

Numbers beside a test are the contract. Recordings are stood in for by the fields that are asked of them.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.common.curves import Response
from distort.analysis.impulsive.residual import Residual
from distort.assembly.condition.against_others import (
    _cut,
    _delay,
    _level,
    _noise_during,
    _repeatability,
    _rms,
    worst_block,
)
from distort.assembly.condition.residual_sound import _cut as cut_out
from distort.recording.alignment.prepared import Prepared
from signals import Sweep

ROWS_HZ = np.array([50.0, 100.0, 200.0, 400.0, 800.0])


def response(level_db, *, noise_db=0.0, unit: str = "db_spl", lowest_hz: float = 100.0) -> Response:
    level, noise = (np.broadcast_to(np.asarray(one, dtype=float), (5,)).copy() for one in (level_db, noise_db))
    return Response(
        frequency_hz=ROWS_HZ,
        level_db=level,
        phase_deg=np.zeros(5),
        noise_db=noise,
        unit=unit,
        delay_s=0.0,
        lowest_valid_hz=lowest_hz,
    )


def recording(**fields):
    given = {"as_played_db_spl": 86.0, "name": SimpleNamespace(stem="main_86_1")} | fields
    return SimpleNamespace(sidecar=SimpleNamespace(**given))


def plan(*, near_field_of=None, distance_m: float = 1.0):
    return SimpleNamespace(
        levels=SimpleNamespace(band_hz=(100.0, 400.0)),
        near_field_of=near_field_of,
        setup=SimpleNamespace(distance_m=distance_m, temperature_c=20.0),
    )


# --- level and delay --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("off_db", "verdict", "words"),
    [
        (2.9, "good", "+2.9 dB re"),
        (-2.9, "good", "-2.9 dB re"),
        (3.15, "usable", "the calibration holds"),
        (-3.15, "usable", "the loudspeaker holds back"),
    ],
)
def test_a_level_is_good_within_3_db_of_the_nominal(off_db, verdict, words):
    (found,) = _level(response(86.0 + off_db), recording(), plan())
    assert (found.name, found.verdict, found.threshold) == ("level_spl", verdict, 3.0)
    assert found.value == pytest.approx(off_db)
    assert words in found.sentence


def test_a_level_is_told_of_what_was_calibrated_at_a_distance():
    for beside in (
        _level(response(86.0, unit="dbfs"), recording(), plan()),
        _level(response(np.nan), recording(), plan()),
        _level(response(86.0), recording(), plan(near_field_of="cone")),
    ):
        assert beside == ()


@pytest.mark.parametrize(("early_ms", "verdict"), [(0.285, "good"), (0.315, "usable"), (-5.0, "good")])
def test_sound_is_no_faster_than_the_air_but_for_ten_centimetres(early_ms, verdict):
    """c = 331.3 sqrt(1 + 20 / 273.15) m/s: 2 m take 5.828 ms; ten centimetres 0.3 ms."""
    air_ms = 2000.0 / (331.3 * np.sqrt(1.0 + 20.0 / 273.15))
    (found,) = _delay(recording(sound_delay_s=1e-3 * (air_ms - early_ms)), plan(distance_m=2.0))
    assert (found.name, found.verdict, found.unit) == ("delay", verdict, "ms")
    assert (found.value, found.threshold) == (pytest.approx(air_ms - early_ms), pytest.approx(air_ms - 0.3))
    assert f"takes {air_ms:.2f} ms" in found.sentence
    assert f"took {air_ms - early_ms:.2f} ms" in found.sentence
    assert _delay(recording(sound_delay_s=None), plan()) == ()


# --- repeatability ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sides", ["own", "earlier"])
@pytest.mark.parametrize(("margin_db", "counts"), [(20.5, True), (19.5, False)])
def test_a_row_repeats_where_both_stand_20_db_over_their_noise(sides, margin_db, counts):
    """From the lowest valid row on, 100 Hz: 0.2 dB at three rows, and 0.8 dB at the one in question; 9 dB below."""
    differences = np.array([9.0, 0.2, 0.2, 0.8, 0.2])
    noise = np.where(ROWS_HZ == 400.0, 80.0 - margin_db, 0.0)
    earlier = response(80.0, noise_db=noise if sides == "earlier" else 0.0)
    own = response(80.0 + differences, noise_db=noise + differences if sides == "own" else 0.0)
    found = _repeatability(own, earlier, recording())
    expected = np.sqrt((3.0 * 0.04 + (0.64 if counts else 0.0)) / (4.0 if counts else 3.0))
    assert found.value == pytest.approx(expected)
    assert found.verdict == ("usable" if counts else "good")


@pytest.mark.parametrize(("off_db", "verdict"), [(0.285, "good"), (-0.285, "good"), (0.315, "usable")])
def test_a_response_repeats_within_three_tenths_of_a_decibel(off_db, verdict):
    found = _repeatability(response(80.0 + off_db), response(80.0), recording())
    assert (found.verdict, found.threshold) == (verdict, 0.3)
    assert ("Look whether" in found.sentence) is (verdict == "usable")


@pytest.mark.parametrize(
    ("own_noise", "earlier_noise", "why"),
    [
        (79.0, 0.0, "no frequency stands"),
        (0.0, 79.0, "no frequency stands"),
        (np.nan, 0.0, "is not known"),
        (0.0, np.nan, "is not known"),
    ],
)
def test_where_nothing_is_clear_of_noise_the_rows_that_hold_say_by_how_much(own_noise, earlier_noise, why):
    own = response(80.0 + np.array([9.0, 0.4, np.nan, 0.4, 0.4]), noise_db=own_noise)
    found = _repeatability(own, response(80.0, noise_db=earlier_noise), recording())
    assert np.isnan(found.value)
    assert found.verdict == "usable"
    assert why in found.sentence
    assert "by 0.40 dB r.m.s., noise included" in found.sentence


def test_a_mean_square_is_of_what_is_known():
    assert _rms(np.array([3.0, np.nan, -4.0])) == pytest.approx(np.sqrt(12.5))
    assert np.isnan(_rms(np.full(3, np.nan)))


# --- blocks -----------------------------------------------------------------------------------------------------------

RATE, SIZE = 1000, 100
N = 1050
TIME = np.arange(N + 200) / RATE


QUIET = (np.zeros(50),)


def prepared(samples: np.ndarray, *, start: float = 100.0, silences=QUIET) -> Prepared:
    return Prepared(samples=samples, start=start, silences=tuple(silences))


def tone() -> np.ndarray:
    return np.sin(2.0 * np.pi * 70.0 * TIME)


def beside_it(level_db: float) -> np.ndarray:
    """A tone of another frequency, so far below the first; both fit whole into every block, so neither holds the
    other or its slope."""
    return 10.0 ** (level_db / 20.0) * np.sin(2.0 * np.pi * 110.0 * TIME)


@pytest.mark.parametrize("below_db", [-40.0, -50.0, -60.0])
def test_what_differs_is_held_against_fifty_decibels_below_the_block(below_db):
    """lg of the difference's power over that of the block: its mean square is 1/2 and the other's."""
    excess_db, _ = worst_block(prepared(tone() + beside_it(below_db)), prepared(tone()), n_samples=N, rate=RATE)
    share = 10.0 ** (below_db / 10.0)
    assert excess_db == pytest.approx(10.0 * np.log10(share / (1e-5 * (1.0 + share))), abs=0.02)


@pytest.mark.parametrize("which", [0, 1])
def test_what_differs_is_held_against_the_noise_of_both(which):
    """Mean variance of the silences of each, and both together: 0.01, or 0.015."""
    alternating = np.where(np.arange(60) % 2 == 0, 1.0, -1.0)
    silences = [[0.1 * alternating], [np.zeros(60)]]
    more = [np.sqrt(0.03) * alternating, np.zeros(60)]
    silences[which] = [*silences[which], *more] if which else [np.sqrt(0.02) * alternating, np.zeros(60)]
    noise = 0.01 + (0.03 / 3.0 if which else 0.0)
    first, second = (
        prepared(samples, silences=spans)
        for samples, spans in zip((tone() + beside_it(-10.0), tone()), silences, strict=True)
    )
    excess_db, _ = worst_block(first, second, n_samples=N, rate=RATE)
    assert excess_db == pytest.approx(10.0 * np.log10(0.05 / (noise + 1e-5 * 0.55)), abs=0.02)


@pytest.mark.parametrize("block", [0, 4, 9])
def test_the_worst_tenth_of_a_second_is_named(block):
    """Ten whole blocks and half a one, of which nothing is said."""
    spoilt = tone()
    first = 100 + block * SIZE
    spoilt[first : first + SIZE] += beside_it(-20.0)[first : first + SIZE]
    spoilt[100 + 10 * SIZE :] += beside_it(0.0)[100 + 10 * SIZE :]
    excess_db, at_s = worst_block(prepared(spoilt), prepared(tone()), n_samples=N, rate=RATE)
    assert at_s == pytest.approx(0.1 * block)
    assert excess_db == pytest.approx(30.0, abs=0.1)
    assert worst_block(prepared(tone()), prepared(tone()), n_samples=10 * SIZE, rate=RATE)[1] <= 0.9


def test_a_gain_or_a_small_delay_is_no_noise():
    """The slope takes up 0.02 samples, of which (2 pi 0.07 x 0.02)^2 / 2 in amplitude are left: -88 dB."""
    later = 1.1 * np.sin(2.0 * np.pi * 70.0 * (TIME - 0.02 / RATE))
    assert worst_block(prepared(later), prepared(tone()), n_samples=N, rate=RATE)[0] < -20.0


def test_a_stimulus_is_cut_where_it_begins_between_two_samples():
    """0.25 samples later, as a sine is; what was not recorded is 0."""
    made = prepared(tone(), start=100.25)
    found = _cut(made, 600)
    expected = np.sin(2.0 * np.pi * 70.0 * (TIME[:600] + 100.25 / RATE))
    np.testing.assert_allclose(found[100:500], expected[100:500], atol=0.02)  # its ends ring, by 1 / (pi samples)
    whole = _cut(prepared(tone(), start=100.0), 600)
    np.testing.assert_allclose(whole, tone()[100:700], atol=1e-12)
    short = _cut(prepared(tone()[:400], start=100.0), 600)
    np.testing.assert_allclose(short, np.concatenate([tone()[100:400], np.zeros(300)]), atol=1e-12)


def test_without_a_silence_in_both_nothing_is_known_of_noise(monkeypatch):
    for silences in (((), (np.zeros(5),)), ((np.zeros(5),), ()), ((), ())):
        both = iter([prepared(tone(), silences=one) for one in silences])
        monkeypatch.setattr("distort.assembly.condition.against_others.prepare", lambda _, both=both: next(both))
        found = _noise_during(recording(), recording())
        assert np.isnan(found.value)
        assert found.verdict == "usable"


@pytest.mark.parametrize(("below_db", "verdict"), [(-40.4, "good"), (-39.6, "usable")])
def test_noise_came_where_a_block_differs_by_10_db_more(monkeypatch, below_db, verdict):
    """Than 50 dB below the signal."""
    both = iter([prepared(tone() + beside_it(below_db)), prepared(tone())])
    monkeypatch.setattr("distort.assembly.condition.against_others.prepare", lambda _: next(both))
    stimulus = SimpleNamespace(sample_rate=RATE, n_samples=N)
    found = _noise_during(recording(stimulus=stimulus), recording())
    assert (found.verdict, found.threshold) == (verdict, 10.0)
    assert found.value == pytest.approx(below_db + 50.0, abs=0.05)


# --- a sound of its own -----------------------------------------------------------------------------------------------

SWEEP = Sweep(seconds=20.0, sample_rate=8000, stop_hz=3500.0)
FADE = 80
"""10 ms."""


def plays_s(hz: float) -> float:
    """An exponential sweep: `t = L ln(f / f1)`."""
    return float(SWEEP.rate_s * np.log(hz / SWEEP.start_hz))


def residual(first_s: float = 1.0) -> Residual:
    samples = np.random.default_rng(8).standard_normal(20 * 8000)
    return Residual(sweep=SWEEP, samples=samples, first_s=first_s)


def test_it_is_cut_from_0_4_s_before_its_place_to_0_4_s_after_it():
    made = residual()
    found = cut_out(made, (100.0, 150.0))
    first = round((plays_s(100.0) - 1.0 - 0.4) * 8000)
    end = round((plays_s(150.0) - 1.0 + 0.4) * 8000)
    assert found.size == end - first
    np.testing.assert_array_equal(found[FADE:-FADE], made.samples[first + FADE : end - FADE])
    assert found[0] == found[-1] == 0.0
    # a raised cosine is at a half half way
    assert found[FADE // 2] == pytest.approx(0.5 * made.samples[first + FADE // 2])
    assert found[-1 - FADE // 2] == pytest.approx(0.5 * made.samples[end - 1 - FADE // 2])


def test_it_begins_with_the_recording_where_its_place_does():
    """The sweep passes 22 Hz before the first sample, or so soon after that 0.4 s before it nothing was kept."""
    made = residual(first_s=plays_s(25.0) - 0.2)
    found = cut_out(made, (25.0, 30.0))
    assert found.size == round((plays_s(30.0) - made.first_s + 0.4) * 8000)
    np.testing.assert_array_equal(found[FADE:-FADE], made.samples[FADE : found.size - FADE])
    assert cut_out(residual(first_s=12.0), (25.0, 30.0)).size == 0


@pytest.mark.parametrize("loud_s", [0.0, 2.5])
def test_of_a_long_one_the_loudest_six_seconds_are_kept(loud_s):
    made = residual(first_s=0.0)
    first = round((plays_s(100.0) - 0.4) * 8000)
    loud = made.samples.copy()
    begin = first + round(loud_s * 8000)
    loud[begin : begin + 48000] *= 10.0
    loud[[begin, begin + 47999]] = 30.0  # which no sample beside it can make up for
    found = cut_out(Residual(sweep=SWEEP, samples=loud, first_s=0.0), (100.0, 1500.0))
    assert plays_s(1500.0) - plays_s(100.0) + 0.8 > 9.0
    assert found.size == 48000
    np.testing.assert_array_equal(found[FADE:-FADE], loud[begin + FADE : begin + 48000 - FADE])
