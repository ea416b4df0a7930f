"""Compression, term by term: every variance by itself, every edge on either side. Numbers are the contract.

Of a power with relative variance v the 95 % interval is 1.959964 x 10 / ln 10 x sqrt(v) dB, to first order.
"""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from distort.analysis.common.curves import Harmonics
from distort.analysis.compression.change import (
    compression,
    drifted_reference,
    fundamental_output,
    how_repeated,
    repeat_changes,
    sweep_output,
)
from distort.analysis.compression.coil_heating import coil_change_db, coil_rise_k
from distort.analysis.compression.curves import LevelStep, Output, Repeat
from distort.analysis.compression.octaves import input_output, octave_distortion, octave_rows
from distort.analysis.compression.operating_range import band_words, compression_limits, distortion_limits
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.sweeps import Reference
from distort.errors import AnalysisError
from tests.test_comparison_scatter import quiet, read
from tests.test_operating_range import harmonics_with

__all__ = ["read"]  # a fixture that is imported

ROWS = 3
HZ = np.array([500.0, 1000.0, 2000.0])
PER_ROOT = 1.959964 * 10.0 / np.log(10.0)


def output(gain_db: float = 100.0, *, drive_dbfs: float = -30.0, variance: float = 0.0) -> Output:
    return Output(drive_dbfs=drive_dbfs, level_db=np.full(ROWS, gain_db + drive_dbfs), variance=np.full(ROWS, variance))


def step(level: float, gain_db: float = 100.0, *, variance: float = 0.0, time_s: float | None = None, **more):
    drive_dbfs = level - 110.0
    return LevelStep(
        level_db_spl=level,
        time_s=level if time_s is None else time_s,
        output=output(gain_db, drive_dbfs=drive_dbfs, variance=variance),
        **more,
    )


def repeat(time_s: float, gain_db: float = 100.0, *, rested: bool = True, variance: float = 0.0) -> Repeat:
    return Repeat(time_s=time_s, rested=rested, output=output(gain_db, variance=variance))


# --- change and repeats -----------------------------------------------------------------------------------------------


def test_the_output_of_a_sweep_is_its_fundamental_its_drive_and_the_offset(read):
    heard = quiet(read)
    found = sweep_output(heard, Reference(offset_db=3.0))
    known = np.isfinite(found.level_db)
    expected = 10.0 * np.log10(heard.readings[0].power[known]) - 14.0 + 3.0
    np.testing.assert_allclose(found.level_db[known], expected)
    np.testing.assert_array_equal(found.variance, heard.readings[0].variance)
    alone = np.full(2, 1.0)
    reading = Reading(power=100.0 * alone, noise=alone, leak=alone, variance=0.1 * alone)
    np.testing.assert_allclose(fundamental_output(reading, drive_dbfs=-14.0).level_db, 6.0)
    np.testing.assert_allclose(fundamental_output(reading, drive_dbfs=-14.0, offset_db=80.0).level_db, 86.0)


@pytest.mark.parametrize(
    ("rested", "word"), [((), "no"), ((False,), "hot"), ((True,), "rested"), ((True, False), "hot and rested")]
)
def test_how_the_reference_was_repeated(rested, word):
    assert how_repeated([repeat(100.0 + index, rested=one) for index, one in enumerate(rested)]) == word


def test_variances_of_a_repeat_and_of_the_reference_add():
    later, sooner = repeat(9.0, 99.5, variance=3e-4), repeat(8.0, 99.75, variance=0.0)
    found = repeat_changes(output(variance=1e-4), [later, sooner])
    assert [(one.time_s, float(one.change_db[0])) for one in found] == [(8.0, -0.25), (9.0, -0.5)]
    np.testing.assert_allclose(found[0].uncertainty_db, PER_ROOT * 1e-2, rtol=1e-6)
    np.testing.assert_allclose(found[1].uncertainty_db, PER_ROOT * 2e-2, rtol=1e-6)


def test_drift_is_interpolated_and_its_variances_by_squared_shares():
    """A quarter of the way from the reference to the repeat: 9/16 of one variance and 1/16 of the other."""
    for own, again in ((1.6e-3, 0.0), (0.0, 1.6e-3)):
        gain_db, variance = drifted_reference(
            output(variance=own), [repeat(40.0, 101.0, variance=again)], reference_time_s=0.0, time_s=10.0
        )
        np.testing.assert_allclose(gain_db, 100.25)
        np.testing.assert_allclose(variance, own * 9.0 / 16.0 + again / 16.0)


@pytest.mark.parametrize("which", ["own", "reference", "own short", "reference short"])
def test_every_variance_is_in_the_uncertainty_of_the_bias(which):
    """And those of the long sweeps alone in that of the change: 4e-4 each where it is asked of, 1e-6 of the others."""

    def one(name: str, level: float) -> LevelStep:
        own, short = (4e-4 if which == each else 1e-6 for each in (name, f"{name} short"))
        return step(level, variance=own, short=output(99.0, drive_dbfs=level - 110.0, variance=short))

    found = compression(HZ, [one("reference", 76.0), one("own", 96.0)]).levels[1]
    np.testing.assert_allclose(found.bias_uncertainty_db, PER_ROOT * np.sqrt(4e-4 + 3e-6), rtol=1e-6)
    of_change = 2e-6 if "short" in which else 4e-4 + 1e-6
    np.testing.assert_allclose(found.uncertainty_db, PER_ROOT * np.sqrt(of_change), rtol=1e-6)


def test_without_both_short_sweeps_there_is_no_bias():
    short = output(99.0)
    for of_reference, own in ((None, short), (short, None)):
        found = compression(HZ, [step(76.0, short=of_reference), step(96.0, short=own)]).levels[1]
        assert np.isnan(found.bias_db).all()


@pytest.mark.parametrize("which", ["own", "reference"])
def test_the_scatter_of_takes_counts_by_how_many_there_are(which):
    """Three takes of one level and one of the other: s^2 (1/3 + 1), two degrees of freedom. s = 0.2 dB."""
    takes = np.array([-0.2, 0.0, 0.2])[:, None] * np.ones(ROWS)
    ladder = [step(76.0, takes_db=takes if which == "reference" else None)]
    ladder.append(step(96.0, takes_db=takes if which == "own" else None))
    found = compression(HZ, ladder).levels[1]
    expected = scipy.stats.t.ppf(0.975, 2) * np.sqrt(0.04 * (1.0 + 1.0 / 3.0))
    np.testing.assert_allclose(found.uncertainty_db, expected, rtol=1e-9)


def test_a_repeat_is_not_older_than_the_reference():
    """Whatever was played first: here the higher level."""
    ladder = [step(76.0, time_s=50.0), step(96.0, time_s=10.0)]
    assert compression(HZ, ladder, [repeat(50.0)]).repeated == "rested"
    with pytest.raises(AnalysisError, match="before it was first played"):
        compression(HZ, ladder, [repeat(49.0)])
    rising = [step(76.0, time_s=10.0), step(96.0, time_s=50.0)]
    assert compression(HZ, rising, [repeat(30.0)]).repeated == "rested"


def test_a_coil_has_resistance():
    """At 20 - 1 / 0.00393 degC the copper law gives none."""
    coldest_c = 20.0 - 1.0 / 0.00393
    with pytest.raises(ValueError, match="copper law"):
        coil_rise_k(-1.0, start_c=coldest_c, other_share=0.5)
    with pytest.raises(ValueError, match="copper law"):
        coil_change_db(coldest_c - 20.0, other_share=0.5)


# --- octaves ----------------------------------------------------------------------------------------------------------


def test_half_of_an_octaves_rows_are_counted_from_end_to_end():
    """Four rows an octave apart from end to end are three steps: half of that is 1.5, so one row is not enough."""
    rows_hz = 1000.0 * 2.0 ** np.array([-0.4, -1.0 / 15.0, 4.0 / 15.0, 0.6])
    none, _ = octave_rows(rows_hz, np.array([True, False, False, False]))
    assert none.size == 0
    one, _ = octave_rows(rows_hz, np.array([True, True, False, False]))
    assert one.tolist() == [pytest.approx(1000.0)]


def test_rows_count_from_the_lowest_valid_frequency_where_every_level_can_be_read():
    """Five rows; of the octave about 1 kHz one row cannot be read at the higher level, one lies too low."""
    hz = 1000.0 * 2.0 ** np.array([-0.45, -0.2, 0.05, 0.3, 0.45])
    flat = np.full(5, 70.0)
    change = np.array([-9.0, -1.0, np.nan, -2.0, -3.0])

    def level(db_spl: float, more: np.ndarray) -> LevelStep:
        made = Output(drive_dbfs=db_spl - 110.0, level_db=flat + db_spl - 76.0 + more, variance=np.zeros(5))
        return LevelStep(level_db_spl=db_spl, time_s=db_spl, output=made)

    found = input_output(compression(hz, [level(76.0, np.zeros(5)), level(96.0, change)]), lowest_valid_hz=hz[1])
    expected = 10.0 * np.log10(np.mean(10.0 ** (np.array([-1.0, -2.0, -3.0]) / 10.0)))
    assert found.octaves[0].change_db[1] == pytest.approx(expected)


def test_an_octave_of_distortion_reaches_from_edge_to_edge_and_holds_rows_that_are_known():
    """Rows at both edges of the octave about 1 kHz and within a sixth of an octave of them: the upper edge is the next
    octave's. What has no total does not count, nor what has no fundamental."""
    low_hz, high_hz = (1000.0 * 10.0**exponent for exponent in (-0.15, 0.15))
    hz = np.array([0.9 * low_hz, low_hz * (1.0 + 1e-12), 1.05 * low_hz, 0.95 * high_hz, high_hz * (1.0 + 1e-12)])
    whole = harmonics_with(np.zeros(1), noise_db=-60.0)
    made = replace(
        whole,
        frequency_hz=hz,
        fundamental_db=np.array([90.0, 90.0, np.nan, 90.0, 90.0]),
        thd_db=np.array([0.0, -20.0, -10.0, -30.0, 0.0]),
        orders=tuple(replace(one, noise_db=np.full(5, -60.0)) for one in whole.orders),
    )
    found, _ = octave_distortion([made], np.array([1000.0]))
    assert found[0, 0] == pytest.approx(10.0 * np.log10((1e-2 + 1e-3) / 2.0))
    unknown = replace(made, thd_db=np.array([0.0, np.nan, -10.0, -30.0, 0.0]))
    assert octave_distortion([unknown], np.array([1000.0]))[0][0, 0] == pytest.approx(-30.0)
    assert isinstance(made, Harmonics)


# --- operating range --------------------------------------------------------------------------------------------------


def test_limits_that_are_stated():
    """1 and 3 dB of compression, 3 and 10 % of distortion: met exactly half way between two rungs."""
    levels = np.array([80.0, 90.0])
    for limit, number in ((1.0, 0), (3.0, 1)):
        one = compression_limits(levels, np.array([-limit + 0.5, -limit - 0.5]))[number]
        assert (one.limit, one.level_db_spl) == (limit, pytest.approx(85.0))
    for percent, number in ((3.0, 0), (10.0, 1)):
        limit_db = 20.0 * np.log10(percent / 100.0)
        one = distortion_limits(levels, np.array([limit_db - 0.5, limit_db + 0.5]))[number]
        assert (one.limit, one.level_db_spl) == (percent, pytest.approx(85.0))


def test_limiting_from_the_first_rung_above_the_reference_and_to_the_last():
    """Rungs of 5 dB whose output no longer rises."""
    drive = np.array([-30.0, -25.0, -20.0])
    assert band_words(np.array([0.0, -1.0, -6.0]), np.full(3, 0.1), drive_dbfs=drive)[1:] == ("limiting", "limiting")


@pytest.mark.parametrize("rung", [1, 2])
@pytest.mark.parametrize(("unsure_db", "word"), [(0.94, "limiting"), (1.06, "gradual compression")])
def test_uncertainties_of_both_rungs_count_before_limiting_is_named(rung, unsure_db, word):
    """The output does not rise at all: under a fifth of 5 dB as long as both together are sure to less than 1 dB."""
    uncertainty = np.full(3, 0.01)
    uncertainty[rung] = unsure_db
    found = band_words(np.array([0.0, -2.0, -7.0]), uncertainty, drive_dbfs=np.array([-30.0, -25.0, -20.0]))
    assert found[2] == word
