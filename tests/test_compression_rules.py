"""Rules of the compression analysis on tables and curves made by hand, each just on either side of where it turns."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from distort.analysis.compression.change import compression, drifted_reference
from distort.analysis.compression.curves import AnalysedChange, InputOutput, LevelStep, OctaveLevels, Repeat
from distort.analysis.compression.octaves import input_output, octave_rows
from distort.analysis.compression.operating_range import (
    band_onset,
    band_words,
    distortion_limits,
    highest_level,
    operating_ranges,
)
from distort.analysis.compression.sweep_lag import bias_parts, sweep_lag, sweep_lags
from distort.analysis.compression.take_scatter import TakeScatter, take_scatter
from tests.devices.ladder import HZ, flat_output

LEVELS = np.array([76.0, 86.0, 96.0, 102.0])

# --- words ------------------------------------------------------------------------------------------------------------


def table(change_db, *, uncertainty_db=0.0, corrected_db=None, corrected_uncertainty_db=0.0) -> InputOutput:
    """One octave."""
    levels, nothing = LEVELS[: len(change_db)], (0.0,) * len(change_db)
    octave = OctaveLevels(
        midband_hz=1000.0,
        output_db=tuple(levels + np.array(change_db)),
        change_db=tuple(change_db),
        uncertainty_db=(uncertainty_db,) * levels.size,
        corrected_db=nothing if corrected_db is None else tuple(corrected_db),
        corrected_uncertainty_db=(corrected_uncertainty_db,) * levels.size,
        bias_db=nothing,
        heating_db=0.0,
        heating_uncertainty_db=0.0,
        drift_db=0.0,
        drift_uncertainty_db=0.0,
    )
    return InputOutput(level_db_spl=levels, drive_dbfs=levels - 110.0, octaves=(octave,))


@pytest.mark.parametrize(
    ("noise_db", "change_db", "word"),
    [
        (0.0, -0.099, "linear"),
        (0.0, -0.101, "gradual compression"),
        (0.0, 0.101, "expansion"),
        (0.05, -0.111, "linear"),  # sqrt(0.05^2 + 0.1^2) = 0.1118
        (0.05, -0.113, "gradual compression"),
    ],
)
def test_a_change_is_named_beyond_its_uncertainty_and_a_tenth_of_a_decibel(noise_db, change_db, word):
    (found,) = operating_ranges(table([0.0, 0.0, 0.0, change_db], uncertainty_db=noise_db))
    assert found.words[-1] == word
    (sure,) = operating_ranges(table([0.0, 0.0, 0.0, change_db], uncertainty_db=noise_db), least_db=0.01)
    assert sure.words[-1] == ("expansion" if change_db > 0 else "gradual compression")


def test_words_of_the_corrected_change_are_of_its_own_uncertainty():
    both = table([0.0, 0.0, -0.5, -0.5], corrected_db=[0.0, 0.0, -0.3, 0.3], corrected_uncertainty_db=0.25)
    (found,) = operating_ranges(both, basis="corrected")
    assert found.words == ("reference", "linear", "gradual compression", "expansion")  # 0.27 dB
    assert found.basis == "corrected"
    (plain,) = operating_ranges(both)
    assert plain.words == ("reference", "linear", "gradual compression", "gradual compression")


@pytest.mark.parametrize(("slope", "word"), [(0.185, "gradual compression"), (0.165, "limiting")])
def test_limiting_is_an_output_that_rises_by_under_a_fifth_of_the_drive_surely(slope, word):
    """6 dB of drive give `6 x slope` dB; each change is known to 0.1 dB, both to 0.1414, which is 0.0236 dB per dB."""
    change_db = np.array([0.0, 0.0, -2.0, -2.0 - 6.0 * (1.0 - slope)])
    words = band_words(change_db, np.full(4, 0.1), drive_dbfs=LEVELS - 110.0)
    assert words[2:] == (word, word)


def test_limiting_needs_two_rungs_that_compress():
    """From a rung that is not below the line, or to one that is not, an output that stands still is no limiting."""
    drive = np.array([0.0, 1.0, 2.0, 3.0])
    for change_db, words in (
        ([0.0, -0.05, -1.05, -2.1], ("linear", "limiting", "limiting")),
        ([0.0, -1.0, -0.05, -1.05], ("gradual compression", "linear", "gradual compression")),
    ):
        assert band_words(np.array(change_db), np.full(4, 0.1), drive_dbfs=drive)[1:] == words


@pytest.mark.parametrize(("step_db", "is_number"), [(1.5, True), (1.55, False)])
def test_an_onset_is_a_number_on_steps_of_one_and_a_half_decibels(step_db, is_number):
    """The line through the two rungs beyond it meets no change where the knee is."""
    for levels in (
        90.0 + step_db * np.arange(5),
        np.array([90.0, 90.0 + step_db, 91.5 + step_db, 93.0 + step_db, 94.5]),
    ):
        change = -0.5 * np.maximum(levels - (levels[1] + 0.4), 0.0)
        words = band_words(change, np.full(5, 0.1), drive_dbfs=levels)
        found = band_onset(levels, change, words)
        assert found.above_db_spl == levels[1]
        if levels[2] - levels[1] == step_db:
            assert (found.level_db_spl is not None) == is_number
        if found.level_db_spl is not None:
            assert found.level_db_spl == pytest.approx(levels[1] + 0.4)


def test_a_gap_before_the_onset_or_behind_it_leaves_a_bracket():
    for levels in ([76.0, 80.0, 81.5, 83.0], [76.0, 77.5, 79.0, 81.0], [76.0, 77.0, 78.6, 80.0]):
        rungs = np.array(levels)
        change = np.array([0.0, 0.0, -0.5, -1.0])
        words = band_words(change, np.full(4, 0.1), drive_dbfs=rungs)
        found = band_onset(rungs, change, words)
        fine = rungs[2] - rungs[1] <= 1.5 and rungs[3] - rungs[2] <= 1.5
        assert (found.level_db_spl is not None) == fine


def test_a_change_that_does_not_grow_has_no_line_to_trace():
    levels = np.array([90.0, 91.5, 93.0, 94.5])
    for change_db in ([0.0, -0.5, -0.5, -0.5], [0.0, -0.9, -0.5, -0.6]):
        change = np.array(change_db)
        words = band_words(change, np.full(4, 0.1), drive_dbfs=levels)
        assert band_onset(levels, change, words).level_db_spl is None
    # traced back to before the last linear rung it is held there
    change = np.array([0.0, -0.5, -0.6, -0.7])
    found = band_onset(levels, change, band_words(change, np.full(4, 0.1), drive_dbfs=levels))
    assert found.level_db_spl == 90.0


@pytest.mark.parametrize(("over_noise_db", "counts"), [(9.8, False), (10.2, True), (10.0, True)])
def test_distortion_counts_from_ten_decibels_over_its_noise(over_noise_db, counts):
    values = np.array([-50.0, -50.0, -25.0, -26.0])
    noise = np.array([-90.0, -90.0, -25.0 - over_noise_db, -26.0 - over_noise_db])
    three, _ = distortion_limits(LEVELS, values, noise_db=noise)
    assert three.verdict == ("found" if counts else "kept to the last")


def test_a_limit_that_is_met_exactly_is_kept():
    found = highest_level(LEVELS, np.array([0.0, 1.0, 1.0, 2.0]), limit_db=1.0, quantity="compression", limit=1.0)
    assert (found.kept_at_db_spl, found.exceeded_at_db_spl, found.level_db_spl) == (96.0, 102.0, 96.0)
    found = highest_level(LEVELS, np.array([np.nan, 0.0, np.nan, 2.0]), limit_db=0.5, quantity="compression", limit=1.0)
    assert found.level_db_spl == pytest.approx(86.0 + 0.25 * 16.0)
    found = highest_level(LEVELS, np.array([0.0, 3.0, 0.0, 3.0]), limit_db=1.5, quantity="compression", limit=1.5)
    assert found.level_db_spl == pytest.approx(81.0)  # where it first exceeds


# --- octaves ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("missing", "there"), [(11, True), (13, False)])
def test_an_octave_of_which_half_can_be_read_counts(missing, there):
    """24.08 rows an octave of two, 24 in the band at 1 kHz, which is a factor of 1.995 wide."""
    readable = np.ones(HZ.size, dtype=bool)
    first = int(np.argmin(np.abs(HZ - 707.9458)))
    readable[first : first + missing] = False
    midbands, rows = octave_rows(HZ, readable)
    assert (1000.0 in midbands.round(6)) == there
    if there:
        own = rows[int(np.argmin(np.abs(midbands - 1000.0)))]
        assert own.sum() == 24 - missing
        assert HZ[own].max() < 1412.5375


def test_half_of_an_octave_is_counted_from_end_to_end_of_the_rows():
    """Nine rows, four an octave: of the band about 1 kHz two rows are half, and one is less."""
    hz = 1000.0 * 2.0 ** (np.arange(-4, 5) / 4.0)
    for rows, there in (([3, 4], True), ([4], False)):
        midbands, _ = octave_rows(hz, np.isin(np.arange(hz.size), rows))
        assert (1000.0 in midbands.round(6)) == there


@pytest.mark.parametrize("levels", [(76.0,), (76.0, 86.0)])
def test_with_a_level_above_the_reference_its_heat_is_in_the_change(levels):
    rungs = [LevelStep(level_db_spl=level, time_s=level, output=flat_output(level)) for level in levels]
    assert compression(HZ, rungs).includes_heating == (len(levels) == 2)


def test_few_lines_are_an_octave_each_where_they_have_one():
    """Three lines an octave apart: half of one a band is less than one row, and one is asked for."""
    midbands, rows = octave_rows(np.array([125.0, 250.0, 500.0]), np.array([True, False, True]))
    assert midbands == pytest.approx([125.8925, 501.1872], abs=1e-4)
    assert [row.tolist() for row in rows] == [[True, False, False], [False, False, True]]


def test_all_columns_of_an_octave_are_weighed_by_the_reference():
    """Two halves of the band, ten to one in power: a change as a power mean, an uncertainty as a mean."""
    shape = np.where(HZ < 999.0, 10.0, 0.0)
    rungs = []
    for level, change in ((76.0, 0.0), (86.0, -2.0)):
        flat = flat_output(level)
        part = np.where(HZ < 999.0, 0.0, change)
        variance = np.where(HZ < 999.0, 1e-4, 4e-4)
        rungs.append(
            LevelStep(
                level_db_spl=level,
                time_s=level,
                output=replace(flat, level_db=flat.level_db + shape + part, variance=variance),
            )
        )
    hot = replace(
        flat_output(76.0), level_db=76.0 + shape + np.where(HZ < 999.0, -0.1, -0.3), variance=np.zeros(HZ.size)
    )
    cold = replace(
        flat_output(76.0), level_db=76.0 + shape + np.where(HZ < 999.0, 0.2, 0.1), variance=np.zeros(HZ.size)
    )
    repeats = [Repeat(time_s=87.0, rested=False, output=hot), Repeat(time_s=96.0, rested=True, output=cold)]
    found = input_output(compression(HZ, rungs, repeats), lowest_valid_hz=25.0)
    octave = found.octaves[int(np.argmin(np.abs(found.midband_hz - 1000.0)))]
    share = np.array([10.0, 1.0]) / 11.0
    assert octave.change_db[1] == pytest.approx(10.0 * np.log10(share @ [1.0, 10.0**-0.2]))
    assert octave.heating_db == pytest.approx(10.0 * np.log10(share @ 10.0 ** np.array([-0.01, -0.03])))
    assert octave.drift_db == pytest.approx(10.0 * np.log10(share @ 10.0 ** np.array([0.02, 0.01])))
    per_neper = 1.959964 * 10.0 / np.log(10.0)
    assert octave.uncertainty_db[1] == pytest.approx(share @ (per_neper * np.sqrt([2e-4, 8e-4])))
    assert octave.drift_uncertainty_db == pytest.approx(share @ (per_neper * np.sqrt([1e-4, 4e-4])))
    assert octave.heating_uncertainty_db == pytest.approx(share @ (per_neper * np.sqrt([1e-4, 4e-4])))
    # half way between the reference and the repeat after the rest: half of its drift is taken off
    corrected = np.array([0.0, -2.0]) - 0.5 * np.array([0.2, 0.1])
    assert octave.corrected_db[1] == pytest.approx(10.0 * np.log10(share @ 10.0 ** (corrected / 10.0)))
    own = np.array([1e-4, 4e-4])
    assert octave.corrected_uncertainty_db[1] == pytest.approx(share @ (per_neper * np.sqrt(own + 0.25 * own)))


# --- drift ------------------------------------------------------------------------------------------------------------


def test_the_reference_at_the_moment_of_a_repeat_is_that_repeat():
    reference, again = flat_output(76.0, sigma_db=0.1), flat_output(76.0, 0.4, sigma_db=0.2)
    repeats = [Repeat(time_s=40.0, rested=True, output=again)]
    for time_s, gain_db, variance in ((40.0, 0.4, again.variance), (0.0, 0.0, reference.variance)):
        gain, found = drifted_reference(reference, repeats, reference_time_s=0.0, time_s=time_s)
        assert gain[0] == pytest.approx(110.0 + gain_db)
        np.testing.assert_allclose(found, variance)
    gain, _ = drifted_reference(reference, [replace(repeats[0], time_s=0.0)], reference_time_s=0.0, time_s=0.0)
    assert gain[0] == pytest.approx(110.0)  # both at one moment: the first counts
    gain, _ = drifted_reference(reference, repeats, reference_time_s=0.0, time_s=40.1)
    assert np.isnan(gain).all()


# --- takes ------------------------------------------------------------------------------------------------------------


def test_scatter_is_averaged_over_half_an_octave_to_either_side():
    """One row scatters by 0.08 dB squared; the grid has 12 rows in half an octave, 25 about each row."""
    gains = np.zeros((2, HZ.size))
    gains[:, 120] = 0.2, -0.2
    found = take_scatter(HZ, [(gains, np.zeros(HZ.size))])
    near = np.abs(np.arange(HZ.size) - 120) <= 12
    np.testing.assert_allclose(found.excess[near], 0.08 / 25, rtol=1e-9)
    np.testing.assert_allclose(found.excess[~near], 0.0, atol=1e-12)
    gains[:, 121] = np.nan  # a row without a reading is not counted
    np.testing.assert_allclose(take_scatter(HZ, [(gains, np.zeros(HZ.size))]).excess[120], 0.08 / 24, rtol=1e-9)


def test_what_noise_explains_is_taken_off_the_scatter_of_one_take():
    """Three takes, variance 0.09 dB squared; the mean's noise is 1e-3 of its power, one take's three times that."""
    gains = np.array([0.3, 0.0, -0.3])[:, None] + np.zeros(HZ.size)
    found = take_scatter(HZ, [(gains, np.full(HZ.size, 1e-3))])
    assert found.freedom == 2
    np.testing.assert_allclose(found.excess, 0.09 - 3e-3 * (10.0 / np.log(10.0)) ** 2, rtol=1e-9)
    assert np.all(take_scatter(HZ, [(gains, np.full(HZ.size, 0.1))]).excess == 0.0)
    unknown = take_scatter(HZ, [(gains, np.full(HZ.size, np.nan))])
    np.testing.assert_allclose(unknown.excess, 0.09, rtol=1e-9)
    assert take_scatter(HZ, [(gains[:1], np.zeros(HZ.size)), (None, np.zeros(HZ.size))]).freedom == 0


def test_the_interval_of_a_difference_of_means_is_students():
    """Variance 0.04 of one take, four degrees of freedom (t = 2.776445, tables), means of two and three takes."""
    scatter = TakeScatter(excess=np.array([0.04]), freedom=4)
    assert scipy.stats.t.ppf(0.975, 4) == pytest.approx(2.776445, abs=1e-6)
    assert scatter.half_width_db(2, 3)[0] == pytest.approx(2.776445 * 0.2 * np.sqrt(1 / 2 + 1 / 3), rel=1e-6)
    assert TakeScatter(excess=np.array([0.04]), freedom=0).half_width_db(1, 1)[0] == 0.0


# --- what a sweep lags by ---------------------------------------------------------------------------------------------

AXIS = np.log(HZ)


def change(long_db, bias_db, *, unsure_db=1e-6) -> AnalysedChange:
    nothing = np.zeros(HZ.size)
    return AnalysedChange(
        level_db_spl=96.0,
        drive_dbfs=-14.0,
        output_db=nothing,
        change_db=np.broadcast_to(long_db, HZ.shape).astype(float),
        uncertainty_db=nothing,
        bias_db=np.broadcast_to(bias_db, HZ.shape).astype(float),
        bias_uncertainty_db=np.broadcast_to(unsure_db, HZ.shape).astype(float),
        corrected_db=nothing,
        corrected_uncertainty_db=nothing,
    )


INNER = slice(20, -20)


@pytest.mark.parametrize(("moved", "is_lag"), [(0.1, True), (0.24, True), (0.26, False)])
def test_a_curve_that_moves_on_the_axis_lags(moved, is_lag):
    """change(T) is the steady change moved by d, change(T/2) by 2 d: a bump of 3 dB, a fifth of a neper wide. Moves of
    up to a quarter of a neper are looked for; the grid of d is 0.001."""

    def bump(shift: float) -> np.ndarray:
        return -3.0 / (1.0 + np.exp(-(AXIS - np.log(1000.0) - shift) / 0.2))

    steady, long_db, short_db = bump(0.0), bump(moved), bump(2.0 * moved)
    found = bias_parts(HZ, change(long_db, short_db - long_db, unsure_db=0.01))
    slope = (HZ > 700.0) & (HZ < 1400.0)
    assert np.all(found.is_lag[slope]) == is_lag
    if is_lag:
        np.testing.assert_allclose(found.lag_db[slope], (long_db - steady)[slope], atol=0.02)
        np.testing.assert_array_equal(found.other_db[slope], 0.0)
    else:
        assert not found.is_lag[slope].all()


@pytest.mark.parametrize(("error", "is_lag"), [(0.5, True), (0.65, False)])
def test_a_bias_is_a_lag_where_moving_leaves_a_quarter_of_its_power(error, is_lag):
    """On a slope of 3 dB a neper a move of 0.1 makes -0.3 dB; from row to row 0.3 `error` dB up and down besides, which
    no move explains: of nine rows' `1 + error^2 +- 2 error / 9` it leaves `80/81 error^2`: a quarter at 0.54 to
    0.61."""
    wavering = 0.3 * error * np.where(np.arange(HZ.size) % 2 == 0, 1.0, -1.0)
    found = bias_parts(HZ, change(3.0 * AXIS, -0.3 + wavering))
    assert np.all(found.is_lag[INNER] == is_lag)
    expected = np.full(HZ.size, -0.3) if is_lag else np.zeros(HZ.size)
    # five of nine rows one way move the mean by a ninth of what wavers, 0.017 dB, found in steps of 0.003
    np.testing.assert_allclose(found.lag_db[INNER], expected[INNER], atol=0.019)
    other = np.zeros(HZ.size) if is_lag else -0.3 + wavering
    np.testing.assert_allclose(found.other_db[INNER], other[INNER], atol=1e-12)


def test_one_row_speaks_for_four_to_either_side():
    """A bias of 1.2 dB in one row of a slope that explains 0.3: within four rows the mean of nine holds it."""
    bias = np.full(HZ.size, -0.3)
    bias[120] += 1.2
    found = bias_parts(HZ, change(3.0 * AXIS, bias))
    near = np.abs(np.arange(HZ.size) - 120) <= 4
    assert not found.is_lag[near].any()
    assert found.is_lag[INNER][~near[INNER]].all()


def test_a_bias_within_its_uncertainty_is_neither():
    found = bias_parts(HZ, change(3.0 * AXIS, -0.3, unsure_db=np.where(HZ < 1000.0, 0.29, 0.31)))
    low, high = (HZ < 999.0) & (HZ > 40.0), (HZ > 1000.0) & (HZ < 15000.0)
    assert found.is_lag[low].all()
    assert not found.is_lag[high].any()
    np.testing.assert_array_equal(found.lag_db[high], 0.0)
    np.testing.assert_array_equal(found.other_db[high], 0.0)
    unknown = bias_parts(HZ, change(3.0 * AXIS, -0.3, unsure_db=np.nan))
    assert not unknown.is_lag.any()
    missing = bias_parts(HZ, change(3.0 * AXIS, np.nan))
    assert np.isnan(missing.lag_db).all()
    assert np.isnan(missing.other_db).all()


def test_the_largest_lag_among_the_rows_and_the_length_that_ends_it():
    """Lag on a slope below 1 kHz, something else above 4 kHz, where the change is flat: stated apart."""
    slope = 3.0 * np.minimum(AXIS, np.log(1000.0))
    bias = np.where(HZ < 900.0, -0.25, 0.0) + np.where(HZ > 4000.0, 0.4, 0.0)
    own = change(slope, bias, unsure_db=np.where(HZ < 100.0, 0.05, 0.02))
    found = sweep_lag(HZ, own, rows=HZ > 50.0, duration_s=10.0)
    assert found.frequency_hz < 1000.0
    assert found.lag_db == pytest.approx(-0.25, abs=0.02)
    assert found.uncertainty_db in (0.05, 0.02)
    assert found.needed_s == 25.0  # 10 s x 0.25 / 0.1
    assert found.other_db == pytest.approx(0.4)
    assert found.other_hz > 4000.0
    none = sweep_lag(HZ, own, rows=(HZ > 1500.0) & (HZ < 3500.0), duration_s=10.0)
    assert (none.frequency_hz, none.lag_db, none.other_hz, none.other_db) == (None, 0.0, None, 0.0)
    assert none.uncertainty_db == 0.02  # the median of the rows
    assert none.needed_s == 10.0
    (one,) = sweep_lags(HZ, [own, own], lowest_valid_hz=50.0, duration_s=10.0)
    assert one == found
