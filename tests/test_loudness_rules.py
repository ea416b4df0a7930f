"""Loudness and what music masks, step by step: the weighting at any rate, blocks and gates, powers in third octaves,
what answers of a blind test say at their edges; closed forms, limits from both sides."""

import numpy as np
import pytest
import scipy.signal
from scipy import stats

from distort.analysis.hearing import blind, loudness, over_masked
from distort.analysis.hearing.audibility import Margins, dense_margins_db, octave_margins
from distort.analysis.hearing.blind import Tally, bootstrap_interval, by_guessing, exact_interval, judged
from distort.analysis.hearing.loudness import HIGH_PASS, SHELF, _at_rate, _to_s, _to_z, integrated_lkfs, k_weighting
from distort.analysis.hearing.masking import (
    bark,
    excitation_db,
    excitation_of_unknown_level_db,
    masked_by_excitation_db,
    masked_by_schroeder_db,
    schroeder_spread_db,
    threshold_of_hearing_db_spl,
)
from distort.analysis.hearing.over_masked import margins_of_moments_db
from distort.analysis.hearing.over_masked import over_masked as over_masked_of

# --- the K-weighting --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("inverse_z", [0.3, -0.8, 0.2 + 0.7j])
def test_powers_of_z_are_powers_of_s_by_the_bilinear_transform(inverse_z):
    """1/z = (1 - s) / (1 + s): the same value, but for (1 + s)^2; and the same the other way round, but for 4 of it."""
    b0, b1, b2 = b = np.array([1.3, -0.4, 2.2])
    s = (1.0 - inverse_z) / (1.0 + inverse_z)
    a2, a1, a0 = a = _to_s(b)
    assert (a2 * s**2 + a1 * s + a0) / (1.0 + s) ** 2 == pytest.approx(b0 + b1 * inverse_z + b2 * inverse_z**2)
    np.testing.assert_allclose(_to_z(a), 4.0 * b)


@pytest.mark.parametrize("table", [SHELF, HIGH_PASS])
@pytest.mark.parametrize("rate", [16000.0, 96000.0])
def test_the_weighting_at_another_rate_is_the_tables_bent_about_its_corner(table, rate):
    """tan(pi f / rate) goes over frequencies; the corner `sqrt(d0 / d2)` of the poles stays where it is at 48 kHz, as
    the table itself says by its response there."""
    d2, _, d0 = _to_s(table[1])
    corner = np.sqrt(d0 / d2)
    corner_hz = 48000.0 / np.pi * np.arctan(corner)
    for hz in (corner_hz, 100.0, 5000.0):
        own_hz = 48000.0 / np.pi * np.arctan(np.tan(np.pi * hz / rate) * corner / np.tan(np.pi * corner_hz / rate))
        response = []
        for b, a, w in (
            (table[0], table[1], 2.0 * np.pi * own_hz / 48000.0),
            (_at_rate(table, rate)[:3], _at_rate(table, rate)[3:], 2.0 * np.pi * hz / rate),
        ):
            response.append(scipy.signal.freqz(b, a, [w])[1][0])
        assert response[1] == pytest.approx(response[0], rel=1e-6)
    assert _at_rate(table, rate)[3] == 1.0


def test_the_tables_are_those_of_the_standard():
    """ITU-R BS.1770-4, tables 1 and 2, from memory, at 48 kHz. At 997 Hz they add what equation 2 takes off, 0.691 dB;
    the shelf ends at +4 dB, the high-pass begins at nothing."""
    shelf = [1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585]
    high_pass = [1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621]
    found = k_weighting(48000.0)
    np.testing.assert_allclose(found, [shelf, high_pass], atol=1e-12)
    _, response = scipy.signal.sosfreqz(found, [2.0 * np.pi * 997.0 / 48000.0, np.pi, 1e-6])
    assert 20.0 * np.log10(np.abs(response[:2])) == pytest.approx([0.691, 4.0], abs=0.06)
    assert abs(response[2]) < 1e-6


def test_rates_from_8_khz_are_weighted():
    assert k_weighting(8000.0).shape == (2, 6)
    with pytest.raises(ValueError, match="at least 8000"):
        k_weighting(7999.0)


# --- blocks and gates -------------------------------------------------------------------------------------------------


def power(lkfs: float) -> float:
    """`L = -0.691 + 10 lg P`."""
    return float(10.0 ** ((lkfs + 0.691) / 10.0))


@pytest.mark.parametrize(
    ("blocks", "expected"),
    [
        ([-20.0, -20.0], -20.0),
        ([-69.5, -69.5], -69.5),  # the absolute gate at -70
        ([-70.5, -70.5], -np.inf),
        ([-76.0, -76.0, -71.0], -np.inf),
        # loud and quiet: of their mean the quiet one lies 10.0 LU below by -22.6 (loud -10: (10^-1 + x) / 2 x 0.1 = x)
        ([-10.0, -22.4], 10.0 * np.log10((10.0**-1.0 + 10.0**-2.24) / 2.0)),
        ([-10.0, -23.2], -10.0),
        ([-10.0, -23.2, -71.0], -10.0),  # what lies under the absolute gate does not lower the relative one
        ([-10.0, -23.2, -71.0, -71.0, -71.0], -10.0),
        ([-70.0, -70.0], -np.inf),  # on the gate is not over it
    ],
)
def test_blocks_under_either_gate_do_not_count(blocks, expected, monkeypatch):
    monkeypatch.setattr(loudness, "_block_powers", lambda *_: np.array([power(one) for one in blocks]))
    assert integrated_lkfs(np.zeros(8000), 8000.0) == pytest.approx(expected)


def test_a_block_on_the_relative_gate_does_not_count(monkeypatch):
    """1 is a tenth of the mean of 19 and 1."""
    monkeypatch.setattr(loudness, "_block_powers", lambda *_: np.array([19.0, 1.0]))
    assert integrated_lkfs(np.zeros(8000), 8000.0) == pytest.approx(10.0 * np.log10(19.0) - 0.691)


def test_blocks_last_four_tenths_and_begin_every_tenth_of_a_second(monkeypatch):
    """Of two channels with weights, unweighted in frequency; the last block ends with the last sample."""
    monkeypatch.setattr(loudness, "k_weighting", lambda rate: np.array([[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]]))
    samples = np.random.default_rng(2).standard_normal((2, 1000))
    for n, blocks in ((400, 1), (499, 1), (500, 2), (1000, 7)):
        found = loudness._block_powers(samples[:, :n], 1000.0, np.array([1.0, 1.41]))
        squares = samples[0] ** 2 + 1.41 * samples[1] ** 2
        np.testing.assert_allclose(found, [np.mean(squares[at : at + 400]) for at in range(0, 100 * blocks, 100)])
    both = np.mean(np.sum(samples[:, :400] ** 2, axis=0))
    assert loudness._block_powers(samples[:, :400], 1000.0, None)[0] == pytest.approx(both)
    with pytest.raises(ValueError, match=r"0\.4 s"):
        loudness._block_powers(samples[:, :399], 1000.0, None)


def test_each_channel_is_weighted_by_itself():
    samples = np.random.default_rng(3).standard_normal((2, 4000))
    each = [loudness._block_powers(one[None, :], 8000.0, None) for one in samples]
    np.testing.assert_allclose(loudness._block_powers(samples, 8000.0, None), each[0] + each[1])


# --- masking ----------------------------------------------------------------------------------------------------------


def test_schroeders_function_by_its_formula():
    """15.81 + 7.5 (z + 0.474) - 17.5 sqrt(1 + (z + 0.474)^2) dB (Schroeder, Atal and Hall 1979)."""
    for z in (-3.0, -0.474, 0.0, 1.0, 6.0):
        shifted = z + 0.474
        expected = 15.81 + 7.5 * shifted - 17.5 * np.sqrt(1.0 + shifted**2)
        assert schroeder_spread_db(np.array(z)) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("z", "bark_z"),
    [(1.9, 1.9 + 0.15 * 0.1), (2.1, 2.1), (20.0, 20.0), (20.5, 20.5 + 0.22 * 0.4), (22.5, 22.5 + 0.22 * 2.4)],
)
def test_the_critical_band_rate_on_either_side_of_its_bends(z, bark_z):
    """Traunmueller 1990: of frequencies that have z by `26.81 f / (1960 + f) - 0.53`."""
    assert bark(1960.0 * (z + 0.53) / (26.81 - z - 0.53)) == pytest.approx(bark_z)


def test_the_threshold_of_hearing_begins_where_the_third_octave_of_20_hz_is_named():
    """Its exact middle is 19.953 Hz; three thousandths below 20 Hz are allowed, and belong to it."""
    lowest_hz = 20.0 * (1.0 - 3e-3)
    assert threshold_of_hearing_db_spl([lowest_hz, 0.99999 * lowest_hz]) == pytest.approx([78.5, np.nan], nan_ok=True)


def test_octaves_are_told_by_their_worst_row():
    """10 octaves from 31.5 Hz to 16 kHz (IEC 61260-1); rows in the one at 1 kHz and in that at 2 kHz, of which the
    second is valid alone."""
    frequency_hz = np.array([900.0, 1100.0, 1500.0, 2500.0])
    margins = Margins(
        frequency_hz=frequency_hz,
        excitation_db=np.array([1.0, 5.0, 9.0, -7.0]),
        schroeder_db=np.array([8.0, 6.0, -3.0, -5.0]),
        doubtful=np.zeros(4, dtype=bool),
    )
    lower, upper = octave_margins(margins, lowest_valid_hz=0.0)
    assert (lower.midband_hz, lower.frequency_hz) == (pytest.approx(1000.0), 1100.0)
    assert (lower.excitation_db, lower.schroeder_db, lower.verdict) == (5.0, 6.0, "audible")
    assert (upper.midband_hz, upper.frequency_hz) == (pytest.approx(1995.3, rel=1e-4), 1500.0)
    assert (upper.excitation_db, upper.schroeder_db, upper.verdict) == (9.0, -3.0, "perhaps")
    (only,) = octave_margins(margins, lowest_valid_hz=2000.0)
    assert (only.frequency_hz, only.verdict) == (2500.0, "not audible")


def filter_db(masker_hz: float, level_db: float, at_hz: float) -> float:
    """`(1 + p g) e^(-p g)`, p = 4 fc / ERB, and `p (1 - 0.35 (L - 51) / p(1 kHz))` for tones below (Glasberg and Moore
    1990; L up to 110 dB)."""
    erb = 24.7 * (4.37 * at_hz / 1000.0 + 1.0)
    p = 4.0 * at_hz / erb
    if masker_hz < at_hz:
        p *= 1.0 - 0.35 * (min(level_db, 110.0) - 51.0) / (4000.0 / (24.7 * 5.37))
    pg = p * abs(masker_hz - at_hz) / at_hz
    return float(level_db + 10.0 * np.log10((1.0 + pg) * np.exp(-pg)))


@pytest.mark.parametrize("level_db", [30.0, 51.0, 80.0, 105.0, 115.0, 130.0])
@pytest.mark.parametrize(("masker_hz", "at_hz"), [(500.0, 800.0), (1000.0, 1000.0), (800.0, 500.0), (2000.0, 9000.0)])
def test_an_auditory_filter_lets_pass_what_its_formula_says(level_db, masker_hz, at_hz):
    given = np.array(masker_hz), np.array(level_db), np.array(at_hz)
    found = filter_db(masker_hz, level_db, at_hz)
    assert excitation_db(*given) == pytest.approx(found)
    z = float(bark(at_hz))
    assert masked_by_excitation_db(*given) == pytest.approx(found - 14.5 - z)
    spread = level_db + float(schroeder_spread_db(bark(at_hz) - bark(masker_hz)))
    assert masked_by_schroeder_db(*given) == pytest.approx(spread - 15.5 - z)
    at_rest = filter_db(masker_hz, 51.0, at_hz) - 51.0 + level_db
    assert excitation_of_unknown_level_db(*given) == pytest.approx(at_rest)


def test_moments_are_judged_by_the_threshold_where_sound_pressure_is_known():
    """A band at 1 kHz, whose threshold is 2.4 dB SPL (ISO 226:2003): full scale is 100 dB SPL. What masks at -30 dB and
    nothing; the weaker the filters' level, the narrower."""
    bands_hz = np.array([1000.0])
    given = {"bands_hz": bands_hz, "noise_power": np.zeros(1)}
    music, added = np.array([[0.5e-3, 0.0]]), np.array([[0.5e-8, 0.5e-8]])
    for margins in margins_of_moments_db(music, added, full_scale_db_spl=100.0, **given):
        # Schroeder's function has -0.0014 dB at its own place
        np.testing.assert_allclose(margins, [[20.0 - (70.0 - 5.5), 20.0 - 2.4]], atol=2e-3)
    two = {"bands_hz": np.array([800.0, 1000.0]), "noise_power": np.zeros(2)}
    music = np.array([[0.5e-1], [0.0]])
    added = np.array([[0.0], [0.5e-4]])
    known, _ = margins_of_moments_db(music, added, full_scale_db_spl=100.0, **two)
    unknown, _ = margins_of_moments_db(music, added, full_scale_db_spl=None, **two)
    assert known[1, 0] == pytest.approx(60.0 - (filter_db(800.0, 90.0, 1000.0) - 5.5))
    assert unknown[1, 0] == pytest.approx(-40.0 - (filter_db(800.0, 51.0, 1000.0) - 61.0 - 5.5))
    assert np.isnan(known[0, 0])


def test_a_threshold_that_is_higher_than_what_is_masked_counts():
    floor_db = threshold_of_hearing_db_spl(np.array([1000.0]))
    level = {"maskers_db": np.array([-np.inf]), "own_db": np.array([20.0])}
    for margin in dense_margins_db(np.array([1000.0]), floor_db=floor_db, **level):
        assert margin[0] == pytest.approx(17.6, abs=2e-3)  # as above


def test_each_bin_counts_in_every_third_octave_that_it_reaches_into():
    """Frames of 0.1 s: bins 10 Hz apart, which reach 5 Hz to either side, that at 0 Hz to one. A tone of a whole number
    of periods has a^2 / 2, of which a Hann window leaves two thirds in its bin and a sixth in each neighbour."""
    rate, frame, bands_hz = 4000, 400, np.array([25.0, 100.0, 104.0, 160.0])
    t = np.arange(1000) / rate
    found = over_masked._powers(0.3 * np.sin(2.0 * np.pi * 100.0 * t) + 0.2, frame, rate, bands_hz)
    assert found.shape == (4, 4)  # frames of 400 every 200 of 1,000 samples
    bins = {90.0: 0.045 / 6.0, 100.0: 0.045 * 2.0 / 3.0, 110.0: 0.045 / 6.0, 10.0: 0.04 * 4.0 / 6.0 / 2.0}
    # 0.2 at 0 Hz leaks half of its amplitude into 10 Hz, where it counts once more for the lines below 0 Hz
    bins[10.0] = 2.0 * 0.04 * (1.0 / 4.0) / 1.5
    for band, middle in enumerate(bands_hz):
        low, high = middle * 10.0**-0.05, middle * 10.0**0.05
        shares = {hz: max(min(high, hz + 5.0) - max(low, hz - 5.0), 0.0) / 10.0 for hz in bins}
        np.testing.assert_allclose(found[band], sum(shares[hz] * own for hz, own in bins.items()), atol=1e-12)


def test_what_lies_at_0_hz_counts_over_half_a_bin():
    """A constant of 0.2: its bin is 5 Hz wide, and the band begins at 2.5 Hz."""
    bands_hz = np.array([2.5 * 10.0**0.05])
    found = over_masked._powers(np.full(800, 0.2), 400, 4000, bands_hz)
    high = bands_hz[0] * 10.0**0.05
    whole = 2.0 * 0.04 / 1.5  # a bin counts for both signs of frequency
    assert found[0, 0] == pytest.approx(whole * (high - 2.5) / 5.0)


def test_over_masked_is_the_model_that_masks_more():
    random = np.random.default_rng(5)
    music, added = 0.1 * random.standard_normal(4000), 0.02 * random.standard_normal(4000)
    bands_hz = 1000.0 * 10.0 ** (np.arange(-5, 4) / 10.0)
    given = {"bands_hz": bands_hz, "noise_power": np.zeros(9), "full_scale_db_spl": 90.0}
    found = over_masked_of(music, added, sample_rate=4000, **given)
    powers = [over_masked._powers(one, 400, 4000, bands_hz) for one in (music, added)]
    both = margins_of_moments_db(*powers, **given)
    np.testing.assert_allclose(found.over_db, np.where(both[0] < both[1], both[0], both[1]))
    assert (both[0] < both[1]).any()
    assert (both[0] > both[1]).any()
    np.testing.assert_allclose(found.music_db, 10.0 * np.log10(2.0 * powers[0]) + 90.0)
    np.testing.assert_allclose(found.time_s, 0.05 * np.arange(1, found.time_s.size + 1))


# --- answers of a blind test ------------------------------------------------------------------------------------------


def test_a_share_is_right_of_tried():
    assert Tally(right=3, trials=12).share == 0.25
    assert np.isnan(Tally(right=0, trials=0).share)
    assert by_guessing(Tally(right=0, trials=5)) == 1.0
    assert by_guessing(Tally(right=0, trials=0)) == 1.0
    assert exact_interval(Tally(right=0, trials=0)) == (0.0, 1.0)


def test_the_bootstrap_draws_listeners_with_their_trials():
    """Nine listeners of unlike numbers of trials against scipy's own bootstrap of the ratio of two sums (percentiles);
    10,000 draws place a 2.5 % quantile within 0.3 % of its share, which is some 0.01 here."""
    right, trials = np.array([9, 3, 14, 20, 5, 11, 2, 8, 16]), np.array([10, 8, 16, 40, 6, 12, 8, 9, 20])
    found = bootstrap_interval([Tally(right=int(r), trials=int(n)) for r, n in zip(right, trials, strict=True)])
    theirs = stats.bootstrap(
        (right, trials),
        lambda r, n, axis: np.sum(r, axis=axis) / np.sum(n, axis=axis),
        paired=True,
        method="percentile",
        n_resamples=4000,
        rng=np.random.default_rng(1),
    ).confidence_interval
    assert found == pytest.approx((theirs.low, theirs.high), abs=0.015)


def test_five_listeners_speak_for_others():
    """Who did not try does not count. The interval is never narrower than the exact one."""
    one, other = Tally(right=16, trials=16), Tally(right=8, trials=16)
    nobody = Tally(right=0, trials=0)
    four, five = judged([[one, other, one, other, nobody], [one, other, one, other, one, nobody]])
    assert (four.over_listeners, five.over_listeners) == (False, True)
    assert (len(four.by_listener), len(five.by_listener)) == (4, 5)
    assert (four.low, four.high) == exact_interval(Tally(right=48, trials=64))
    exact, drawn = exact_interval(Tally(right=64, trials=80)), bootstrap_interval([one, other, one, other, one])
    assert (five.low, five.high) == (min(exact[0], drawn[0]), max(exact[1], drawn[1]))
    assert drawn[0] < exact[0]
    alike = judged([[Tally(right=15, trials=16)] * 6])[0]
    assert (alike.low, alike.high) == exact_interval(Tally(right=90, trials=96))
    assert judged([]) == ()
    assert blind.detected(0.51) == pytest.approx(0.02)
