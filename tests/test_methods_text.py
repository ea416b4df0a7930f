"""The methods text says what the program does: its numbers are those of the code, its tests exist."""

import re
from pathlib import Path

import pytest

from distort.analysis.anomalies import anomalies, delayed_copies, minimum_phase, outstanding
from distort.analysis.common import caution, near_field
from distort.analysis.common import sound_in_air as wavelength
from distort.analysis.common.grid import ROWS_PER_OCTAVE
from distort.analysis.comparison import fault_changes
from distort.analysis.comparison import significance as comparison
from distort.analysis.compression import change as compression
from distort.analysis.compression import coil_heating, operating_range
from distort.analysis.findings import measured
from distort.analysis.findings.near_field import UP_TO_KA_1_DB
from distort.analysis.hearing import masking as hearing
from distort.analysis.multitone import blocks as multitone_blocks
from distort.analysis.sweep import harmonics, response, windows
from distort.capture.importing import sweep_fitting
from distort.capture.measuring.exposure import permitted_hours
from distort.capture.reel import finding as reel_finding
from distort.capture.reel import levels as reel_levels
from distort.report.terminal.methods import methods_text

ROOT = Path(__file__).resolve().parent.parent


def as_one_line() -> str:
    """The text without its line ends."""
    return re.sub(r"\s+", " ", methods_text())


def test_every_test_it_names_exists() -> None:
    named = re.findall(r"tests/\w+\.py", methods_text())
    assert len(named) > 5
    assert [name for name in named if not (ROOT / name).is_file()] == []


def test_it_fits_80_columns() -> None:
    assert [line for line in methods_text().splitlines() if len(line) > 80] == []


def test_every_own_method_names_its_test() -> None:
    marks = re.findall(r"\(own[^)]*\)", methods_text())
    assert len(marks) > 5
    assert [mark for mark in marks if "tests/" not in mark] == []


@pytest.mark.parametrize(
    ("said", "is_so"),
    [
        (r"from 0\.45 of the gap to order n \+ 1", windows.BEFORE_SHARE == 0.45),
        (r"to 0\.6 of the gap to order n - 1", windows.AFTER_SHARE == 0.6),
        (r"24 an octave", ROWS_PER_OCTAVE == 24),
        (r"under 10 dB above its noise floor", caution.CLEAR_OF_NOISE_DB == 10.0),
        (r"under 25 dB above the leak", caution.CLEAR_OF_LEAK_DB == 25.0),
        (r"beyond 0\.3 dB", harmonics.STEADY_BIAS_DB == 0.3),
        (r"2\.5 times the sweep's start", response.VALID_FROM_RE_START == 2.5),
        (r"Blocks of 8 periods", multitone_blocks.BLOCK_PERIODS == 8),
        (r"its uncertainty and 0\.1 dB", operating_range.LEAST_NAMED_DB == 0.1),
        (r"under 0\.2 dB per dB of drive", operating_range.LIMITING_SLOPE == 0.2),
        (r"steps of 1\.5 dB or less", operating_range.FINE_STEP_DB == 1.5),
        (r"not under 0\.1 dB \(distortion 0\.5 dB\)", comparison.LEAST_NAMED_DISTORTION_DB == 0.5),
        (r"three times what repeats", comparison.SCATTERS_NAMED == 3.0),
        (r"at most three times the median", comparison.WELL_READ == 3.0),
        (r"at 5 % for all bands", comparison.ALPHA == 0.05),
        (r"weaker or stronger by more than 1 dB", fault_changes.CHANGED_DB == 1.0),
        (r"under a quarter of it is there", fault_changes.GONE_SHARE == 0.25),
        (r"up to 1 dB the part does not .* from 3 dB on", (measured.HARDLY_DB, measured.MADE_DB) == (1.0, 3.0)),
        (r"below that of 0\.2 m, 273 Hz", round(near_field.highest_near_field_hz(None)) == 273),
        (r"the interval holds 0\.4 dB", UP_TO_KA_1_DB == 0.4),
        (r"from 2 dB and 3\.6 scatters", (outstanding.LEAST_DB, outstanding.LEAST_SCATTERS) == (2.0, 3.6)),
        (r"a correlation of 0\.88", delayed_copies.LEAST_CORRELATION == 0.88),
        (r"Listed from 1\.5 dB peak to dip", anomalies.LEAST_COMB_DB == 1.5),
        (r"within 1\.5 to 3 inverse widths", (minimum_phase.EARLY_WIDTHS, minimum_phase.EARLY_LENGTHS) == (1.5, 3)),
        (r"From 0\.5 to 1\.6 it is", (minimum_phase.HELD_FROM, minimum_phase.HELD_TO) == (0.5, 1.6)),
        (r"from -6 to -0\.5 it is not", (minimum_phase.REVERSED_FROM, minimum_phase.REVERSED_TO) == (-6.0, -0.5)),
        (r"0\.35 \(L - 51\)", (hearing.WIDENING_PER_DB, hearing.UNCHANGED_DB_SPL) == (0.35, 51.0)),
        (r"L 110 at most", hearing.LOUDEST_DB_SPL == 110.0),
        (r"or 5\.5 dB below that of a multitone", hearing.DENSE_OFFSET_DB == 5.5),
        (r"from 4 dB below the noise", hearing.NOISE_MASKING_DB == 4.0),
        (r"c = 331\.3 sqrt", wavelength.SPEED_AT_ZERO_C == 331.3),
        (r"copper 0\.393 % per kelvin", coil_heating.COPPER_PER_K == 0.00393),
        (r"more than 1 sample and 1 ppm", (reel_finding.SAME_SAMPLES, reel_finding.WANDER) == (1.0, 1e-6)),
        (r"rest of 10 s none .* more than 0\.25 dB", (reel_levels.RESTED_S, reel_levels.SAME_DB) == (10.0, 0.25)),
        (r"must lie under -40 dB", sweep_fitting.LARGEST_RESIDUAL_DB == -40.0),
    ],
)
def test_its_numbers_are_those_of_the_code(said: str, is_so: bool) -> None:
    assert re.search(said, as_one_line())
    assert is_so


def test_its_formula_of_the_change_is_that_of_the_code() -> None:
    formula = "change_L(f) = [P_L(f) - P_ref(f)] - [drive_L - drive_ref]"
    assert formula in methods_text()
    assert formula in str(compression.__doc__)


def test_its_times_of_exposure() -> None:
    """NIOSH publication 98-126: 96 dB(A) 37.8 min, 101 dB(A) 11.9 min; a limit is never stated longer than it is."""
    for level, minutes in ((96.0, 37), (101.0, 11)):
        assert int(60.0 * permitted_hours(level)) == minutes
        assert f"{level:g} dB(A) for {minutes}" in as_one_line()
