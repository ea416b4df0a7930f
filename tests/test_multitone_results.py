"""What a multitone's reading comes to: points, bands and results by hand, at a low sample rate."""

import math
from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.multitone.hum_lines import hum_lines
from distort.analysis.multitone.reading import MultitoneTake, multitone_result, read_multitone
from distort.analysis.multitone.settling import onset, period_levels
from distort.analysis.sweep.sweeps import Reference
from distort.errors import AnalysisError
from distort.report.text.multitone import thirds_table
from distort.report.text.multitone_bands import third_octaves
from tests.test_multitone_rules import HIGH, LOW, RATE, TONE, N, db, readings


def test_a_band_begins_at_its_low_edge_and_ends_before_its_high_one():
    line = float(TONE.line_hz[3])
    samples = TONE.samples()
    assert len(period_levels(samples, TONE, start=0.0, bands=[(line, line + 1.0)])) == 1
    with pytest.raises(AnalysisError, match="no line"):
        period_levels(samples, TONE, start=0.0, bands=[(line - 1.0, line)])


@pytest.mark.parametrize("frame_s", [0.02, 0.05])
def test_a_start_is_held_against_the_settled_periods_moment_by_moment(frame_s):
    """The first period 2 dB louder throughout: 2 dB in every frame after that of the fade-in, 5 ms."""
    samples = TONE.samples()
    samples[:N] *= 10.0**0.1
    (found,) = onset(samples, TONE, start=0.0, bands=[LOW], frame_s=frame_s)
    frame = round(frame_s * RATE)
    assert found.time_s[0] == pytest.approx(1.5 * frame / RATE)
    assert found.time_s.size == N // frame - 1
    np.testing.assert_allclose(found.change_db[2:], 2.0, atol=0.1)  # the fade-in rings in a narrow band
    short = replace(TONE, periods=3)
    with pytest.raises(AnalysisError, match="four measured ones"):
        onset(short.samples(), short, start=0.0, bands=[LOW])
    enough = replace(TONE, periods=4, settling_periods=1)
    onset(enough.samples(), enough, start=0.0, bands=[LOW])


def test_a_band_is_cut_half_way_to_the_next_line():
    """Another band's lines are not heard: they come twice as loud in the first period, and this band stays as it
    was."""
    samples = TONE.samples()
    high = TONE.line_hz >= 600.0
    turns = np.arange(N) / N
    for b, a, p in zip(TONE.line_bins[high], TONE.line_amplitudes[high], TONE.line_phases_rad[high], strict=True):
        samples[:N] += a * np.cos(2 * np.pi * b * turns + p)
    (found,) = onset(samples, TONE, start=0.0, bands=[LOW])
    assert np.max(np.abs(found.change_db[3:])) < 0.2
    (other,) = onset(samples, TONE, start=0.0, bands=[HIGH])
    np.testing.assert_allclose(np.median(other.change_db), 6.02, atol=0.1)


def test_a_tone_stands_out_by_fourteen_times_the_median():
    """Its peak is `a^2 T / (4 x 1.5 x ...)` over noise: by the density itself, a Hann window's bin holds a^2 / 3 T. Of
    two seconds, the mean of two silences; noise scatters the peak by some 20 %."""
    sigma = 1e-3
    density = 2.0 * sigma**2 / RATE
    found = {}
    for times in (9.0, 20.0):
        # a tone on a bin has the density a^2 / 2 over a bandwidth of 1.5 bins
        amplitude = math.sqrt(2.0 * times * 0.84 * density * 1.5 / 2.0)
        silences = [
            sigma * np.random.default_rng([seed, round(times)]).standard_normal(2 * RATE)
            + amplitude * np.cos(2 * np.pi * 500.0 * np.arange(2 * RATE) / RATE)
            for seed in range(2)
        ]
        found[times] = hum_lines(silences, sample_rate=RATE)
    assert not np.any(np.abs(found[9.0].frequency_hz - 500.0) < 1.0)
    assert np.any(np.abs(found[20.0].frequency_hz - 500.0) < 1.0)


def test_two_tones_side_by_side_and_a_silence_that_is_too_short():
    time_s = np.arange(RATE) / RATE
    tone = 0.01 * np.sin(2 * np.pi * 300.0 * time_s) + 0.02 * np.sin(2 * np.pi * 320.3 * time_s)
    noise, other = 1e-5 * np.random.default_rng(1).standard_normal((2, RATE))
    found = hum_lines([tone + noise, tone + other], sample_rate=RATE)
    assert found.frequency_hz == pytest.approx([300.0, 320.3], abs=0.03)
    assert found.power == pytest.approx([0.5e-4, 2e-4], rel=0.03)  # what a main lobe of five bins leaves out
    assert hum_lines([(tone + noise)[:-1]], sample_rate=RATE).power.size == 0


@pytest.mark.parametrize(("bin_number", "found"), [(2, False), (3, True), (8187 - 4094, True), (8188 - 4094, False)])
def test_tones_at_the_ends_of_the_spectrum_need_their_main_lobe(bin_number, found):
    """Two bins on either side, and one more: of 4097 bins of a silence of a second the fourth to the last but three."""
    time_s = np.arange(RATE) / RATE
    tone = 0.01 * np.cos(2 * np.pi * bin_number * time_s)
    noise, other = 1e-5 * np.random.default_rng(1).standard_normal((2, RATE))
    sounds = hum_lines([tone + noise, tone + other], sample_rate=RATE)
    assert np.any(np.abs(sounds.frequency_hz - bin_number) < 0.1) == found


def test_a_result_by_hand():
    one = readings(
        even_noise=1e-5,
        even_wander=2e-5,
        even_hum=3e-5,
        odd_noise=4e-5,
        odd_wander=1e-5,
        odd_hum=1e-5,
        even_variance=1.6e-9,
        odd_variance=8.1e-9,
    )
    result = multitone_result([one], Reference(offset_db=100.0, unit="db_spl"))
    bands = result.bands
    assert bands.even_db[1] == pytest.approx(db(4e-4 / 0.08))
    assert bands.odd_db[1] == pytest.approx(db(9e-4 / 0.08))
    assert bands.distortion_db[1] == pytest.approx(db(13e-4 / 0.08))
    assert bands.noise_db[1] == pytest.approx(db(1e-5 / 0.08))
    assert bands.even_floor_db[1] == pytest.approx(db(6e-5 / 0.08))
    assert bands.odd_floor_db[1] == pytest.approx(db(6e-5 / 0.08))
    assert bands.floor_db[1] == pytest.approx(db(12e-5 / 0.08))
    # relative variances 1e-2: a tenth of a neper of power, 0.434 dB; one draw of phases scatters by 0.5 and 1.3 dB
    for name, draw_db in (("even", 0.5), ("odd", 1.3)):
        assert getattr(bands, f"{name}_noise_uncertainty_db")[1] == pytest.approx(1.959964 * 0.4342945, rel=1e-6)
        whole_db = 1.959964 * math.hypot(0.4342945, draw_db)
        assert getattr(bands, f"{name}_uncertainty_db")[1] == pytest.approx(whole_db, rel=1e-6)
    # a full-scale sine, of power 1/2, is 0 dBFS
    assert bands.level_db[1] == pytest.approx(db(0.16) + 100.0)
    for name in ("even_db", "odd_db", "distortion_db", "noise_db", "level_db", "even_floor_db"):
        assert np.isnan(getattr(bands, name)[2])
    assert result.level_db == pytest.approx(db(0.32) + 100.0)
    assert result.even_db == pytest.approx(db(12e-4 / 0.16))
    assert result.odd_db == pytest.approx(db(27e-4 / 0.16))
    assert result.distortion_db == pytest.approx(db(39e-4 / 0.16))
    assert result.noise_db == pytest.approx(db(3e-5 / 0.16))
    assert result.floor_db == pytest.approx(db(36e-5 / 0.16))
    response = result.response
    assert response.gain_db[0] == pytest.approx(-6.0206, abs=1e-4)
    assert response.response_db[0] == pytest.approx(-6.0206 + TONE.drive_dbfs + 100.0, abs=1e-4)
    heard_power = 0.5 * TONE.line_amplitudes[0] ** 2 * 0.25
    assert response.level_db[0] == pytest.approx(db(2.0 * heard_power) + 100.0)
    assert response.noise_db[0] == pytest.approx(db(2e-8) + 100.0)
    assert response.distortion_db[0] == pytest.approx(db(2e-7) + 100.0)
    assert response.uncertainty_db[0] == pytest.approx(1.959964 * 4.342945 * math.sqrt(2e-8 / heard_power), rel=1e-6)


@pytest.mark.parametrize(("margin_db", "doubtful"), [(9.9, True), (10.1, False)])
def test_bands_are_marked_under_ten_decibels_over_the_floor(margin_db, doubtful):
    """Even and odd of 4e-4 and 9e-4 together, whichever of them the floor belongs to."""
    floor = 13e-4 * 10.0 ** (-margin_db / 10.0)
    for parts in ({"even_noise": floor}, {"odd_hum": floor}, {"even_wander": 0.5 * floor, "odd_noise": 0.5 * floor}):
        result = multitone_result([readings(**parts)], Reference())
        assert result.bands.doubtful[1] == doubtful
        assert not result.bands.doubtful[2]  # no line, no reading, no mark


def test_several_realisations_are_averaged_in_power_and_their_gains_as_they_are():
    first, second = (
        readings(even=2e-4, even_variance=1e-10, gain=0.4),
        readings(even=6e-4, even_variance=3e-10, gain=0.6),
    )
    result = multitone_result([first, second], Reference())
    assert result.bands.even_db[1] == pytest.approx(db(4e-4 / 0.08))
    assert result.bands.even_noise_uncertainty_db[1] == pytest.approx(1.959964 * 4.342945 * math.sqrt(1e-10) / 4e-4)
    assert result.response.gain_db[0] == pytest.approx(20 * math.log10(0.5))
    assert result.response.noise_db[0] == pytest.approx(db(1e-8))  # half the noise of one
    assert result.response.distortion_db[0] == pytest.approx(db(2e-7))
    assert (result.realisations, result.draws) == (2, 1)  # takes of one draw
    other = replace(second, tone=replace(second.tone, realisation=1))
    assert multitone_result([first, other], Reference()).draws == 2
    worst = multitone_result([first, readings(even_wander=2e-6)], Reference())
    assert worst.clock.wander_ppm == 2e-6


def test_twelve_periods_are_read_and_eleven_are_not():
    samples = TONE.samples()
    result = multitone_result([read_multitone(MultitoneTake(samples=samples, start=0.0), TONE)], Reference())
    assert np.nanmax(result.bands.distortion_db) < -200.0
    assert np.max(np.abs(result.response.gain_db)) < 1e-9
    short = replace(TONE, periods=11)
    with pytest.raises(AnalysisError, match="at least 12"):
        read_multitone(MultitoneTake(samples=short.samples(), start=0.0), short)


@pytest.mark.parametrize(("part", "other"), [("even", "odd"), ("odd", "even")])
def test_where_one_part_of_a_band_is_noise_the_other_is_still_read(part, other):
    """A part that lies under its floor is told by that floor, and marked; the other keeps its value without a mark, and
    the sum is marked by both floors together: 12e-4 over 2.1e-4 is 7.6 dB, under the 10 that it takes."""
    given = {part: 1e-4, f"{part}_noise": 1.5e-4, f"{part}_hum": 0.5e-4, other: 11e-4, f"{other}_noise": 1e-5}
    bands = multitone_result([readings(**given)], Reference()).bands
    parts = third_octaves(bands)
    noisy, clear = getattr(parts, part), getattr(parts, other)
    assert noisy.values_db[1] == pytest.approx(db(1e-4 / 0.08))
    assert noisy.floor_db[1] == pytest.approx(db(2e-4 / 0.08))
    assert (noisy.below[1], noisy.doubtful[1]) == (True, True)
    assert clear.floor_db[1] == pytest.approx(db(1e-5 / 0.08))
    assert (clear.below[1], clear.doubtful[1]) == (False, False)
    assert parts.distortion.values_db[1] == pytest.approx(db(12e-4 / 0.08))
    assert parts.distortion.floor_db[1] == pytest.approx(db(2.1e-4 / 0.08))
    assert (parts.distortion.below[1], parts.distortion.doubtful[1]) == (False, True)
    # a row: Hz, level, distortion, even and its interval, odd and its interval, noise
    table = thirds_table(bands)
    row = [str(column._cells[1]) for column in table.columns]
    columns = {"even": 3, "odd": 5}
    assert row[2] == f"?{db(12e-4 / 0.08):.1f}"
    assert row[columns[part]] == f"<{db(2e-4 / 0.08):.1f}"
    assert row[columns[other]] == f"{db(11e-4 / 0.08):.1f}"
