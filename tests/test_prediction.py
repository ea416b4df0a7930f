"""Multitones predicted from sweeps: which form is chosen, what is called predicted, and what grows with level."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz, midbands_hz
from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.find import find
from distort.analysis.findings.memory_findings import memory_drafts
from distort.analysis.multitone.curves import MultitoneBands
from distort.analysis.sweep.orders import WindowedSpectrum
from distort.analysis.sweep.windows import OrderWindow
from distort.analysis.synthesis.kernels import Step
from distort.analysis.synthesis.predicted import GROWN_DB, MOST_EVEN_DB, MOST_ODD_DB, Prediction
from distort.analysis.synthesis.prediction import MultitoneMeasured, predict
from distort.analysis.synthesis.structure import Structure
from distort.report.text.prediction import prediction_sentences
from signals import Multitone
from tests.devices.branches import Branch, Branched

DEVICE = Branched(
    branches=(
        Branch(order=2, filtered=0, size=1e-2, corner_hz=900.0),
        Branch(order=3, filtered=2, size=-3e-2, corner_hz=400.0),
    )
)
LEVELS = (81.0, 86.0, 91.0, 96.0)
WIRE = WindowedSpectrum(
    window=OrderWindow(order=1, before_s=0.02, after_s=0.02),
    values=np.ones(1000, dtype=complex),
    bin_hz=25.0,
    energy=1.0,
    first_s=0.0,
)
STEPS = tuple(
    Step(
        drive_dbfs=level - 112.0,
        kernels={branch.order: branch.diagonal(grid_hz()) for branch in DEVICE.branches},
        response=WIRE,
    )
    for level in (*LEVELS, 101.0)
)
"""Of a weak curve the kernels are alike at all levels."""


@cache
def measured(level_db: float) -> MultitoneMeasured:
    """What the device's own products are, summed here bin by bin; what lies on a tone is read two bins beside it."""
    tone = Multitone(period_s=1.0, drive_dbfs=level_db - 112.0)
    power = 0.5 * np.abs(DEVICE.products(tone)) ** 2
    beside = np.array([[one - 4, one - 2, one + 2, one + 4] for one in tone.line_bins])
    free = ~np.isin(beside, tone.line_bins) & (beside > 0)
    power[tone.line_bins] = [np.mean(power[row[use]]) for row, use in zip(beside, free, strict=True)]
    midbands = midbands_hz(bands_per_octave=3)
    rows = {"lines": [], "even": [], "odd": []}
    for middle in midbands:
        bins = np.arange(int(np.ceil(middle * 10**-0.05)), min(int(np.ceil(middle * 10**0.05)), power.size))
        lines = np.isin(tone.line_bins, bins)
        rows["lines"].append(0.5 * np.sum(tone.line_amplitudes[lines] ** 2) or np.nan)
        rows["even"].append(np.sum(power[bins[bins % 2 == 0]]))
        rows["odd"].append(np.sum(power[bins[bins % 2 == 1]]))
    lines, even, odd = (np.array(rows[name]) for name in rows)
    even_db, odd_db = 10 * np.log10(even / lines), 10 * np.log10(odd / lines)
    floor, small = np.full(midbands.size, -150.0), np.full(midbands.size, 0.1)
    bands = MultitoneBands(
        frequency_hz=midbands,
        unit="db_spl",
        level_db=10 * np.log10(lines) + level_db,
        distortion_db=10 * np.log10((even + odd) / lines),
        even_db=even_db,
        odd_db=odd_db,
        noise_db=floor,
        even_floor_db=floor,
        odd_floor_db=floor,
        even_uncertainty_db=small,
        odd_uncertainty_db=small,
        even_noise_uncertainty_db=small,
        odd_noise_uncertainty_db=small,
    )
    return MultitoneMeasured(level_db_spl=level_db, tone=tone, turned_db=0.0, bands=bands)


def with_more(one: MultitoneMeasured, *, odd_db: float = 0.0, even_db: float = 0.0) -> MultitoneMeasured:
    """The same with more, or less, in every band."""
    bands = replace(one.bands, odd_db=one.bands.odd_db + odd_db, even_db=one.bands.even_db + even_db)
    return replace(one, bands=bands)


@cache
def predicted(levels: tuple[float, ...] = LEVELS[:3]) -> Prediction:
    return predict(STEPS, [measured(level) for level in levels])


def test_the_right_form_is_found_and_predicts_all_levels() -> None:
    """By construction: nothing of the square is filtered before it, two factors of the cube are; one way. Its bands are
    summed in this module. What is left is that E_n is straight between the rows of its grid, 1/24 octave apart: its
    bend over that is 0.0288^2 / 8 = 1e-4 of it, 0.001 dB."""
    found = predicted()
    assert found.chosen_at_db_spl == 81.0
    assert found.form.structure(0, 2) == Structure(unfiltered=None)
    assert found.form.structure(0, 3) == Structure(unfiltered=1.0)
    for one in found.levels:
        assert one.even.misfit_db < 0.005
        assert one.odd.misfit_db < 0.005
        assert one.even.bands == one.odd.bands == 23  # third octaves from 63 Hz to 10 kHz
    assert (found.verdict, found.up_to_db_spl, found.grown) == ("fits", 91.0, None)


def test_a_volume_that_was_turned_counts_as_drive() -> None:
    """10 dB less in the file and 10 dB more at the knob are the same multitone."""
    quieter = [
        replace(one, tone=replace(one.tone, drive_dbfs=one.tone.drive_dbfs - 10.0), turned_db=10.0)
        for one in (measured(level) for level in LEVELS[:3])
    ]
    found = predict(STEPS, quieter)
    assert (found.form, found.up_to_db_spl) == (predicted().form, predicted().up_to_db_spl)
    for one, other in zip(found.levels, predicted().levels, strict=True):
        assert one.odd.misfit_db == pytest.approx(other.odd.misfit_db, abs=1e-6)


def test_a_level_beyond_the_loudest_sweep_is_tried_but_never_synthesised() -> None:
    """Order 5 of 96 dB SPL is read at 96 + 10 lg 6 = 103.8 dB SPL; the loudest sweep has 101."""
    found = predicted(LEVELS)
    assert found.unreached_db_spl == (96.0,)
    assert found.needed_db_spl == pytest.approx(103.78, abs=0.01)
    assert found.levels[-1].held
    assert found.levels[-1].fits
    assert found.up_to_db_spl == 91.0
    more = predict(STEPS, [*(measured(level) for level in LEVELS[:-1]), with_more(measured(96.0), odd_db=20.0)])
    assert more.levels[-1].odd.misfit_db > 10.0  # which higher orders may be as well as memory
    assert (more.verdict, more.grown, more.up_to_db_spl) == ("fits", None, 91.0)
    far = predict(STEPS[:4], [measured(level) for level in LEVELS])  # 7.8 dB beyond the loudest
    assert [one.level_db_spl for one in far.levels] == [81.0, 86.0, 91.0]
    assert far.levels[-1].held


@pytest.mark.parametrize(
    ("part", "limit_db"), [("odd_db", max(GROWN_DB, MOST_ODD_DB)), ("even_db", max(GROWN_DB, MOST_EVEN_DB))]
)
def test_a_misfit_that_grows_by_6_db_is_memory_on_one_side_of_the_edge_only(part, limit_db) -> None:
    """Below the rule's edge nothing is said; a tenth above it is a finding, and nothing is synthesised there."""
    low = [measured(81.0), measured(86.0)]
    for more_db, verdict in ((limit_db - 0.3, None), (limit_db + 0.3, "memory")):
        found = predict(STEPS, [*low, with_more(measured(91.0), **{part: more_db})])
        assert (found.grown is not None) == (verdict == "memory")
        assert found.up_to_db_spl == 86.0
    level, name = found.grown
    assert (level.level_db_spl, f"{name}_db") == (91.0, part)
    assert level.part(name).excess_db == pytest.approx(limit_db + 0.3, abs=0.1)
    assert found.verdict == "memory"


def test_less_than_predicted_is_no_memory() -> None:
    found = predict(STEPS, [measured(81.0), measured(86.0), with_more(measured(91.0), odd_db=-12.0)])
    assert found.grown is None
    assert (found.verdict, found.up_to_db_spl) == ("fits", 86.0)


def test_what_fits_nowhere_has_an_unknown_structure_and_one_level_checks_nothing() -> None:
    ragged = 8.0 * (-1.0) ** np.arange(measured(81.0).bands.frequency_hz.size)
    off = [with_more(measured(level), even_db=ragged) for level in LEVELS[:3]]
    assert predict(STEPS, off).verdict == "structure-unknown"
    assert predict(STEPS, [measured(86.0)]).verdict == "not-checked"
    noisy = replace(measured(86.0).bands, even_floor_db=np.zeros(31), odd_floor_db=np.zeros(31))
    buried = predict(STEPS, [replace(measured(86.0), bands=noisy)])
    assert (buried.verdict, buried.form, buried.levels) == ("not-predicted", None, ())


def evidence(prediction: Prediction | None) -> Evidence:
    return Evidence(frequency_hz=grid_hz(), response_db=np.full(241, 80.0), lowest_valid_hz=25.0, prediction=prediction)


def test_memory_is_a_finding_and_nothing_else_here_is() -> None:
    at_all = np.zeros(31)
    at_all[12:16] = 20.0  # 315 to 630 Hz
    low = [measured(81.0), measured(86.0)]
    found = predict(STEPS, [*low, with_more(measured(91.0), odd_db=at_all)])
    (finding,) = find(evidence(found))
    assert finding.explanation == "unpredicted-by-orders"
    assert finding.numbers["level_db_spl"] == 91.0
    place = finding.places[0]
    midbands = measured(81.0).bands.frequency_hz
    assert (place.low_hz, place.high_hz) == pytest.approx((midbands[12] / 10**0.05, midbands[15] * 10**0.05))
    assert len(finding.headline) < 78
    assert len(finding.sentence.split()) <= 45
    assert finding.next.command.startswith("distort measure FOLDER:main")
    assert find(evidence(predicted())) == ()
    assert find(evidence(None)) == ()


def test_beside_a_source_of_its_own_memory_is_not_claimed() -> None:
    """A narrow source is one structure more than the prediction has."""
    made = evidence(predict(STEPS, [measured(81.0), measured(86.0), with_more(measured(91.0), odd_db=20.0)]))
    (memory,) = memory_drafts(made, ())
    assert memory_drafts(made, [replace(memory, explanation="resonance")]) == [memory]
    assert memory_drafts(made, [replace(memory, explanation="loudspeaker-generated")]) == []
    assert memory_drafts(made, [replace(memory, explanation="compression", also=("loudspeaker-generated",))]) == []


def test_the_reason_is_said() -> None:
    fits = " ".join(prediction_sentences(predicted(LEVELS)))
    assert "Music may be synthesised from the sweeps up to 91 dB SPL (as one way; fitted at 81 dB SPL" in fits
    assert "For 96 dB SPL sweeps up to 104 dB SPL would be needed." in fits
    grown = predict(STEPS, [measured(81.0), measured(86.0), with_more(measured(91.0), odd_db=20.0)])
    said = " ".join(prediction_sentences(grown))
    assert "From 91 dB SPL on, the odd distortion of many tones exceeds what single tones tell" in said
    assert "Music may be synthesised up to 86 dB SPL." in said
    assert "no other level can check it" in " ".join(prediction_sentences(predict(STEPS, [measured(86.0)])))
    assert "is not known" in " ".join(prediction_sentences(None))
