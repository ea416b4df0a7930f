"""Two clocks under a multitone: constant differences, wander slow and fast, lost samples.

All recordings are closed forms read at the recorder's moments; no resampler made them.
"""

import dataclasses
import math

import numpy as np
import pytest

from distort.analysis.multitone.curves import MultitoneResult
from distort.analysis.multitone.reading import MultitoneTake, multitone_result, read_multitone
from distort.analysis.sweep.sweeps import Reference
from distort.errors import AnalysisError
from distort.recording.alignment.locating import find_reel
from signals import Multitone, framed
from tests.devices.multitones import recorded, sinusoidal_wander

TONE = Multitone()


def result_of(take: MultitoneTake, tone: Multitone = TONE) -> MultitoneResult:
    return multitone_result([read_multitone(take, tone)], Reference())


def worst_db(result: MultitoneResult) -> float:
    """The most that a wire makes in any band: even, odd or both, re the lines in the band."""
    return float(max(np.nanmax(getattr(result.bands, f"{name}_db")) for name in ("even", "odd", "distortion")))


@pytest.mark.first(1)
@pytest.mark.parametrize("told_wrongly_by_ppm", [0.5, math.nan, 0.01, 0.0])
def test_a_constant_difference_is_repaired(told_wrongly_by_ppm):
    """100 ppm: a wire stays below -115 dB, also where the chirps were wrong, or there were none."""
    take = recorded(TONE, ppm=100.0)
    told = dataclasses.replace(take, clock_difference_ppm=100.0 + told_wrongly_by_ppm)
    result = result_of(told)
    assert worst_db(result) < -115.0
    assert np.nanmax(result.bands.noise_db) < -115.0
    assert result.clock.difference_ppm == pytest.approx(100.0, abs=1e-5)  # ten times below what the chirps tell
    assert result.clock.repaired
    assert not result.clock.fast_wander
    assert np.max(np.abs(result.response.gain_db)) < 1e-5  # the interpolation's ripple of 1e-7 is 1e-6 dB


@pytest.mark.sample
@pytest.mark.first(1)
@pytest.mark.parametrize("period_s", [60.0, 10.0])
def test_slow_wander_is_repaired(period_s):
    """1 ppm peak on top of 100 ppm: below -110 dB, and so are noise and floors, which wander would raise."""
    take = recorded(TONE, ppm=100.0, wander=sinusoidal_wander(ppm=1.0, period_s=period_s))
    result = result_of(take)
    assert worst_db(result) < -110.0
    assert np.nanmax(result.bands.noise_db) < -110.0
    assert max(np.nanmax(result.bands.even_floor_db), np.nanmax(result.bands.odd_floor_db)) < -110.0
    assert result.clock.wander_ppm > 0.45  # r.m.s. of 1 ppm peak: 0.71 of whole cycles, 0.49 of this half one
    assert not result.clock.fast_wander


@pytest.mark.sample
@pytest.mark.parametrize(("period_s", "part"), [(2.0, "even"), (1.0, "odd")])
def test_wander_that_repeats_with_the_period_is_detected_and_raises_the_floor(period_s, part):
    """It cannot be told from distortion. Small-angle closed form: a delay of amplitude d puts (w d / 2)^2 of a line's
    power on each side: 2 s = 1 bin away, on even bins; 1 s = 2 bins away, on the free odd bins beside the line, which
    is then filled with a quarter of both (0.97 dB). The floor is within 1.5 dB: it counts a band's lines at its middle.
    """
    wander = sinusoidal_wander(ppm=0.1, period_s=period_s)
    result = result_of(recorded(TONE, ppm=20.0, wander=wander))
    assert result.clock.fast_wander
    amplitude = 1e-7 * period_s / (2 * np.pi)
    top = int(np.nanargmax(np.where(np.isfinite(result.bands.even_db), result.bands.frequency_hz, np.nan)[:-1]))
    line_hz = TONE.line_hz[np.argmin(np.abs(np.log(TONE.line_hz / result.bands.frequency_hz[top])))]
    expected_db = 20 * math.log10(2 * np.pi * line_hz * amplitude) - 3.0103 + (0.0 if part == "even" else 0.9691)
    reading_db = getattr(result.bands, f"{part}_db")[top]
    floor_db = getattr(result.bands, f"{part}_floor_db")[top]
    assert reading_db == pytest.approx(expected_db, abs=0.5)
    assert floor_db == pytest.approx(expected_db, abs=1.5)
    assert result.bands.doubtful[top]
    other = "odd" if part == "even" else "even"
    assert getattr(result.bands, f"{other}_db")[top] < expected_db - 30.0  # second order of so small an angle


def test_a_large_wander_raises_the_other_floor_too():
    """1 ppm with 2 s: the second sidebands, 2 bins away, are 70 dB down at 20 kHz (Bessel J2) and pass for odd."""
    bands = result_of(recorded(TONE, wander=sinusoidal_wander(ppm=1.0, period_s=2.0))).bands
    assert np.nanmax(bands.odd_db) > -75.0
    assert np.all(bands.odd_floor_db[10:-1] > bands.odd_db[10:-1] - 1.5)


@pytest.mark.sample
def test_fast_wander_beside_the_period_is_repaired_as_well():
    """1 ppm with 3.3 s: left alone it makes -60 dB; the phases followed within the periods take it out."""
    result = result_of(recorded(TONE, ppm=0.0, wander=sinusoidal_wander(ppm=1.0, period_s=3.3)))
    assert worst_db(result) < -100.0
    assert result.clock.repaired


def test_distortion_is_not_taken_for_wander():
    """A strong curve of one clock leaves the clock alone, and reads as without any clock's help."""
    tone = Multitone(drive_dbfs=-16.0)
    take = recorded(tone, start=2400.0, curve=lambda x: np.clip(x, -0.2, 0.2) + 0.2 * x**2)
    clock = result_of(take, tone).clock
    assert (clock.repaired, clock.fast_wander, clock.wander_ppm) == (False, False, 0.0)
    assert abs(clock.difference_ppm) < 1e-6


def test_noise_is_not_taken_for_wander():
    take = recorded(TONE, start=2400.0)
    for seed, snr_db in enumerate((50.0, 20.0)):
        noise = np.random.default_rng(seed).standard_normal(take.samples.size)
        noise *= float(np.std(TONE.period())) * 10 ** (-snr_db / 20)
        noisy = dataclasses.replace(take, samples=take.samples + noise)
        clock = result_of(noisy).clock
        assert (clock.fast_wander, clock.wander_ppm) == (False, 0.0)


@pytest.mark.first(1)
@pytest.mark.parametrize("lost", [-64, 200, 1])
def test_lost_or_doubled_samples_are_refused(lost):
    take = recorded(TONE)
    place = int(take.start) + int(9.3 * TONE.period_samples)
    pieces = [take.samples[: place + min(lost, 0) * -1], take.samples[place + max(lost, 0) :]]
    if lost < 0:
        pieces = [take.samples[:place], take.samples[place + lost :]]
    spoilt = dataclasses.replace(take, samples=np.pad(np.concatenate(pieces), (0, 500)))
    with pytest.raises(AnalysisError, match=r"about 1[78](\.\d)? s into the multitone.*samples were lost"):
        read_multitone(spoilt, TONE)


@pytest.mark.sample
def test_another_multitone_and_a_cut_recording_are_refused():
    take = recorded(TONE)
    with pytest.raises(AnalysisError, match="this is another multitone"):
        read_multitone(take, Multitone(lines_per_decade=13.0))
    cut = dataclasses.replace(take, samples=take.samples[: -3 * TONE.sample_rate])
    with pytest.raises(AnalysisError, match="cut off"):
        read_multitone(cut, TONE)
    silent = dataclasses.replace(take, samples=np.zeros(take.samples.size))
    with pytest.raises(AnalysisError, match="silent where the multitone should be"):
        read_multitone(silent, TONE)


def test_it_is_found_by_its_chirps():
    """The reel as it is always played, late by a whole number of samples and upside down; 40 dB of noise."""
    reel = framed(TONE)
    clean = np.concatenate([np.zeros(1234), -0.1 * reel.samples(), np.zeros(4800)])
    noise = np.random.default_rng(5).standard_normal(clean.size) * 0.1 * float(np.std(TONE.period())) * 0.01
    found = find_reel(clean + noise, reel)
    assert abs(found.stimulus_start - 1234 - reel.only_stimulus()[0]) < 0.01  # 0.2 us: 1.5 degrees at 20 kHz
    take = MultitoneTake(
        samples=clean + noise, start=found.stimulus_start, clock_difference_ppm=found.clock_difference_ppm
    )
    response = result_of(take).response
    np.testing.assert_allclose(response.gain_db, -20.0, atol=0.01)  # 40 dB over 31 lines, each 79 dB over its bin
    assert np.max(np.abs(np.abs(response.phase_deg) - 180.0)) < 2.0


@pytest.mark.study
def test_study_of_wander():
    """Table of what is left of 1 ppm of sinusoidal wander; run with
    `pytest -m study -s tests/test_multitone_clock.py`."""
    print("\nwander period   even    odd   noise  even floor  odd floor   (dB re the lines, worst band)")
    for period_s in (60.0, 20.0, 10.0, 6.0, 5.0, 4.0, 3.3, 3.0, 2.5, 2.0, 1.3, 1.0):
        take = recorded(TONE, ppm=100.0, wander=sinusoidal_wander(ppm=1.0, period_s=period_s))
        bands = result_of(take).bands
        curves = (bands.even_db, bands.odd_db, bands.noise_db, bands.even_floor_db, bands.odd_floor_db)
        worst = [float(np.nanmax(curve)) for curve in curves]
        print(f"{period_s:10.1f} s  " + "  ".join(f"{value:7.1f}" for value in worst))
        assert worst[0] < max(worst[3] + 3.0, -110.0)
        assert worst[1] < max(worst[4] + 3.0, -110.0)
