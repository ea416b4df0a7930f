"""Words, onsets and highest levels: the rules on tables made by hand, and octave bands on closed forms."""

import numpy as np
import pytest

from distort.analysis.common.curves import Harmonics, Order
from distort.analysis.compression.change import compression
from distort.analysis.compression.curves import LevelStep, Output
from distort.analysis.compression.octaves import input_output, octave_distortion
from distort.analysis.compression.operating_range import (
    band_onset,
    band_words,
    compression_limits,
    distortion_limits,
    operating_ranges,
)
from distort.errors import AnalysisError
from distort.report.text.compression import onset_words
from tests.devices.ladder import FULL_SCALE_DB_SPL, HZ, flat_output

COARSE = np.array([76.0, 86.0, 96.0, 102.0])
FINE = np.arange(90.0, 102.1, 1.5)


def words(change_db, *, levels=COARSE, uncertainty_db=0.1):
    return band_words(np.array(change_db), np.full(len(change_db), uncertainty_db), drive_dbfs=levels - 110.0)


def limited(levels, *, threshold, ratio):
    """Change of a hard-kneed limiter: `-(1 - 1/ratio)` dB per dB above its threshold."""
    return -(1 - 1 / ratio) * np.maximum(levels - threshold, 0.0)


@pytest.mark.parametrize(
    ("change_db", "expected"),
    [
        ([0.0, 0.05, -0.05, 0.09], ("linear", "linear", "linear")),
        ([0.0, 0.0, -0.5, -1.5], ("linear", "gradual compression", "gradual compression")),
        ([0.0, 0.0, -2.0, -8.0], ("linear", "limiting", "limiting")),  # 0 dB more output for 6 dB of drive
        ([0.0, 0.0, -2.0, -6.5], ("linear", "gradual compression", "gradual compression")),  # 0.25 dB per dB
        ([0.0, 0.0, -2.0, -6.85], ("linear", "gradual compression", "gradual compression")),  # 0.19, but not surely
        ([0.0, 0.0, 0.0, -6.0], ("linear", "linear", "gradual compression")),  # one rung above the onset is not enough
        ([0.0, 0.0, 0.2, 0.4], ("linear", "expansion", "expansion")),
        ([0.0, 0.3, 0.0, -0.4], ("expansion", "linear", "gradual compression")),
        ([0.0, np.nan, -0.4, np.nan], ("unknown", "gradual compression", "unknown")),
    ],
)
def test_words_follow_the_rules(change_db, expected):
    assert words(change_db) == ("reference", *expected)


def test_a_change_without_known_uncertainty_has_no_name():
    assert words([0.0, 0.0, -3.0, -6.0], uncertainty_db=np.nan) == ("reference", *["unknown"] * 3)


def onset(change_db, levels):
    change = np.array(change_db)
    return band_onset(levels, change, words(change, levels=levels))


def test_an_onset_on_a_coarse_ladder_is_bracketed():
    found = onset(limited(COARSE, threshold=91.0, ratio=1e9), COARSE)
    assert (found.kind, found.above_db_spl, found.up_to_db_spl) == ("compression", 86.0, 96.0)
    assert found.level_db_spl is None
    assert onset_words(found) == "between 86 and 96 dB"


@pytest.mark.parametrize("threshold", np.arange(91.0, 99.0, 0.4))
@pytest.mark.parametrize("ratio", [1e9, 10.0, 3.0])
def test_an_onset_on_a_fine_ladder_is_a_number(threshold, ratio):
    """Hard knee: the line through two rungs meets zero at the threshold. Where the first rung above it lies so near
    that its change is still within 0.1 dB, the bracket begins there: off by at most 0.1 / (1 - 1/3) = 0.15 dB."""
    found = onset(limited(FINE, threshold=threshold, ratio=ratio), FINE)
    assert found.level_db_spl == pytest.approx(threshold, abs=0.16)
    assert found.above_db_spl <= found.level_db_spl <= found.up_to_db_spl
    assert onset_words(found) == f"at {found.level_db_spl:.1f} dB"


def test_there_is_no_number_without_two_rungs_beyond_the_onset():
    found = onset(limited(FINE, threshold=101.0, ratio=1e9), FINE)
    assert (found.above_db_spl, found.up_to_db_spl, found.level_db_spl) == (100.5, 102.0, None)


def test_there_is_no_number_across_a_wide_gap():
    levels = np.array([76.0, 90.0, 91.5, 93.0])
    found = onset([0.0, -0.5, -1.0, -1.5], levels)
    assert onset_words(found) == "between 76 and 90 dB"


def test_a_band_is_named_by_its_highest_level_that_is_not_linear():
    """It expands at first and compresses in the end."""
    change_db = np.array([0.0, 0.5, 0.0, -0.5])
    found = operating_ranges(input_output(changed_by(change_db), lowest_valid_hz=25.0))[0]
    assert found.words == ("reference", "expansion", "linear", "gradual compression")
    assert found.word == "gradual compression"
    assert onset_words(found.onset) == "between 96 and 102 dB"


def changed_by(change_db):
    """The coarse ladder with the same change in all rows, and short sweeps that read 0.1 dB less at each level."""
    return compression(
        HZ,
        [
            LevelStep(
                level_db_spl=level, time_s=level, output=flat_output(level, one), short=flat_output(level, one - less)
            )
            for level, one, less in zip(COARSE, change_db, (0.0, 0.1, 0.1, 0.1), strict=True)
        ],
    )


def test_the_bias_of_an_octave_is_that_of_its_rows():
    table = input_output(changed_by([0.0, 0.0, -1.0, -3.0]), lowest_valid_hz=25.0)
    for octave in table.octaves:
        assert octave.bias_db == pytest.approx((0.0, -0.1, -0.1, -0.1))


def test_a_band_that_is_linear_at_the_top_has_no_onset():
    assert onset([0.0, -0.5, 0.0, 0.0], COARSE) is None
    assert onset([0.0, 0.0, 0.0, 0.5], COARSE).kind == "expansion"


def test_an_unmeasured_rung_widens_the_bracket():
    found = band_onset(COARSE, np.array([0.0, 0.0, np.nan, -3.0]), words([0.0, 0.0, np.nan, -3.0]))
    assert (found.above_db_spl, found.up_to_db_spl) == (86.0, 102.0)


def test_highest_levels_of_compression_lie_on_straight_lines_between_rungs():
    one, three = compression_limits(COARSE, np.array([0.0, 0.0, -2.0, -2.5]))
    assert (one.verdict, one.level_db_spl) == ("found", 91.0)
    assert (one.kept_at_db_spl, one.exceeded_at_db_spl) == (86.0, 96.0)
    assert (three.verdict, three.level_db_spl, three.kept_at_db_spl) == ("kept to the last", None, 102.0)


def test_highest_levels_of_distortion():
    """3 % is -30.458 dB, 10 % is -20 dB: on lines in dB between the rungs, never beyond the first or the last."""
    three, ten = distortion_limits(COARSE, np.array([-50.0, -40.0, -20.0, -10.0]))
    assert three.level_db_spl == pytest.approx(86.0 + 10.0 * (40.0 - 30.4576) / 20.0, abs=1e-4)
    assert (ten.verdict, ten.level_db_spl, ten.kept_at_db_spl) == ("found", 96.0, 96.0)
    three, ten = distortion_limits(COARSE, np.array([-25.0, -30.0, -40.0, -41.0]))
    assert (three.verdict, three.level_db_spl) == ("exceeded at the first", None)
    assert (ten.verdict, ten.level_db_spl) == ("kept to the last", None)
    assert distortion_limits(COARSE, np.full(4, np.nan))[0].verdict == "unknown"


def test_noise_is_not_said_to_exceed_a_limit():
    """-25 dB at the lowest level, 5 dB above its noise floor, may be noise; the next rung counts."""
    values, floor = np.array([-25.0, -40.0, -35.0, -28.0]), np.array([-30.0, -70.0, -70.0, -70.0])
    three, _ = distortion_limits(COARSE, values, noise_db=floor)
    assert (three.kept_at_db_spl, three.exceeded_at_db_spl) == (96.0, 102.0)
    assert distortion_limits(COARSE, values)[0].verdict == "exceeded at the first"


def sloping_compression():
    """A response that falls 6 dB an octave; above 86 dB rows from 1 kHz up lose 1 dB, with 0.05 dB of noise."""
    rungs = []
    for level in COARSE:
        flat = flat_output(level, sigma_db=0.05)
        slope_db = -20 * np.log10(HZ / 1000.0)
        lost_db = np.where((HZ >= 999.0) & (level > 90.0), 1.0, 0.0)
        rungs.append(
            LevelStep(
                level_db_spl=level,
                time_s=level,
                output=Output(
                    drive_dbfs=flat.drive_dbfs, level_db=flat.level_db + slope_db - lost_db, variance=flat.variance
                ),
            )
        )
    return compression(HZ, rungs)


def test_octave_bands_are_power_means():
    """Of the band at 1 kHz the lower half is untouched and louder; sums over its 24 rows, `f^-2` as power."""
    table = input_output(sloping_compression(), lowest_valid_hz=25.0)
    assert table.midband_hz == pytest.approx(1000.0 * 10 ** (0.3 * np.arange(-5, 5)))  # exact midbands, IEC 61260-1
    octave = table.octaves[5]
    row_hz = 1000.0 * 10 ** (np.arange(-12, 12) / 80.0)
    power = (row_hz / 1000.0) ** -2
    kept = np.where(row_hz > 999.0, 10**-0.1, 1.0)
    assert octave.change_db[2] == pytest.approx(10 * np.log10(np.sum(power * kept) / np.sum(power)), abs=1e-9)
    assert octave.output_db[0] == pytest.approx(76.0 + 10 * np.log10(np.mean(power)), abs=1e-9)
    assert octave.output_db[2] - octave.output_db[0] == pytest.approx(20.0 + octave.change_db[2])
    assert table.drive_dbfs == pytest.approx(COARSE - FULL_SCALE_DB_SPL)
    for band, one in enumerate(table.octaves):
        if band not in {4, 5}:
            assert one.change_db[2] == pytest.approx(0.0 if band < 4 else -1.0)
        assert one.uncertainty_db[2] == pytest.approx(1.96 * 0.05 * np.sqrt(2), rel=1e-4)
        assert one.corrected_db[1:] == (None, None, None)


def test_ranges_of_all_bands():
    table = input_output(sloping_compression(), lowest_valid_hz=25.0)
    ranges = operating_ranges(table)
    assert [one.word for one in ranges] == ["linear"] * 5 + ["gradual compression"] * 5
    assert onset_words(ranges[-1].onset) == "between 86 and 96 dB"
    assert ranges[-1].compression_limits[0].level_db_spl is None  # exactly 1 dB is kept
    assert ranges[-1].distortion_limits == ()
    assert {one.word for one in operating_ranges(table, basis="corrected")} == {"unknown"}


def test_octaves_that_cannot_be_read_are_left_out():
    found = sloping_compression()
    assert input_output(found, lowest_valid_hz=40.0).midband_hz[0] == pytest.approx(63.0957, abs=1e-3)
    with pytest.raises(AnalysisError, match="no octave band"):
        input_output(found, lowest_valid_hz=30000.0)


def harmonics_with(thd_db, *, noise_db):
    """Total distortion as given, of two orders that have the same noise floor."""
    nothing = np.full(HZ.size, np.nan)
    orders = [
        Order(
            order=order,
            relative_db=nothing,
            noise_db=np.full(HZ.size, noise_db),
            leak_db=nothing,
            chain_db=nothing,
            bias_db=nothing,
            uncertainty_db=nothing,
            noise_uncertainty_db=nothing,
            level_db=nothing,
            equivalent_input_db=nothing,
            doubtful=np.zeros(HZ.size, dtype=np.bool_),
        )
        for order in (2, 3)
    ]
    return Harmonics(
        frequency_hz=HZ,
        fundamental_db=np.where(HZ < 999.0, 90.0, 80.0),
        unit="db_spl",
        thd_db=thd_db,
        thd_percent=nothing,
        thd_total_percent=nothing,
        thd_orders=np.ones(HZ.size, dtype=np.int64),
        residual_db=nothing,
        orders=tuple(orders),
    )


def test_distortion_of_an_octave_is_its_power_over_that_of_the_fundamental():
    """Half the band at -40 dB re a fundamental ten times as strong as that of the other half, at -20 dB: the sum of
    powers is `(10 x 1e-4 + 1e-2) / 11`."""
    thd_db = np.where(HZ < 999.0, -40.0, -20.0)
    levels = [harmonics_with(thd_db, noise_db=-60.0), harmonics_with(thd_db, noise_db=np.nan)]
    found, noise = octave_distortion(levels, np.array([1000.0]))
    assert found[:, 0] == pytest.approx(10 * np.log10((10e-4 + 1e-2) / 11), abs=1e-9)
    assert noise[0, 0] == pytest.approx(-60.0 + 10 * np.log10(2.0), abs=1e-9)
    assert np.isnan(noise[1, 0])
    empty, _ = octave_distortion([harmonics_with(np.full(HZ.size, np.nan), noise_db=-60.0)], np.array([1000.0]))
    assert np.isnan(empty[0, 0])
