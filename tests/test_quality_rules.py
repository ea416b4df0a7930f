"""What is said of a recording: limits just on either side of where they turn, and sums by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from distort.errors import RecordingError
from distort.recording.alignment.locating import find_reel
from distort.recording.alignment.silences import Silences
from distort.recording.quality.chirp_response import Markers, Path, band_edges_hz
from distort.recording.quality.clipping import _heights
from distort.recording.quality.continuity import _gain
from distort.recording.quality.noise import noise_findings
from distort.recording.quality.not_found import _holds_head_of_sweep, why_not_found
from distort.recording.quality.track import PHASE_ERROR_RAD, _delays, _product, band_gains_db
from signals import Sweep, framed

RATE = 8000
SWEEP = Sweep(seconds=1.0, sample_rate=RATE, start_hz=50.0, full_level_hz=70.0, stop_hz=3900.0)
REEL = framed(SWEEP)
LEAD = 700


# --- why nothing was found --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("margin_db", "name"), [(19.0, "channel"), (21.0, "stimulus")])
def test_a_chirp_tells_a_channel_from_noise_from_20_decibels_on(margin_db, name):
    """White noise s leaves the r.m.s. s sqrt(E) behind the matched filter of a chirp of energy E, whose own peak is E;
    what the noise adds at the chirp's place is taken off. The r.m.s. of 20,000 values is known to 0.1 dB."""
    chirp = REEL.chirps()[0][1].samples()
    energy = float(chirp @ chirp)
    noise = 1e-3 * np.random.default_rng(3).standard_normal(20000)
    place = slice(9000, 9000 + chirp.size)
    peak = 10.0 ** (margin_db / 20.0) * 1e-3 * math.sqrt(energy)
    noise[place] += chirp * (peak - float(chirp @ noise[place])) / energy
    assert why_not_found(noise, REEL, RecordingError("Nothing matches.")).name == name


HEAD_S = SWEEP.rate_s * math.log(4.0 * SWEEP.full_level_hz / SWEEP.start_hz)
"""Until the sweep has passed two octaves above where it is at full level."""


def head(sweep: Sweep, n_samples: int, *, late: int = 0) -> np.ndarray:
    """The beginning of a sweep after half a second in little noise, `n_samples` until the recording stops."""
    samples = np.concatenate([np.zeros(4000 + late), sweep.samples()])[: 4000 + n_samples]
    return samples + 1e-6 * np.random.default_rng(1).standard_normal(samples.size)


@pytest.mark.parametrize(("share", "there"), [(0.97, False), (1.03, True)])
def test_the_head_of_a_sweep_holds_two_octaves_at_least(share, there):
    slow = replace(SWEEP, seconds=3.0)
    n_samples = round(share * HEAD_S * slow.rate_s / SWEEP.rate_s * RATE)
    assert _holds_head_of_sweep(head(slow, n_samples), slow, 4000) == there


@pytest.mark.parametrize(("n_samples", "there"), [(3199, False), (3200, True)])
def test_the_head_of_a_sweep_lasts_four_tenths_of_a_second_at_least(n_samples, there):
    fast = replace(SWEEP, seconds=0.9)  # by then it has passed more than two octaves
    assert fast.start_hz * math.exp(0.399875 / fast.rate_s) > 4.0 * fast.full_level_hz
    assert _holds_head_of_sweep(head(fast, n_samples), fast, 4000) == there


@pytest.mark.parametrize(("late_s", "there"), [(0.08, True), (0.15, False)])
def test_the_head_of_a_sweep_lies_within_a_tenth_of_a_second(late_s, there):
    samples = head(SWEEP, 6000, late=round(late_s * RATE))
    assert _holds_head_of_sweep(samples, SWEEP, 4000) == there


# --- silences ---------------------------------------------------------------------------------------------------------


def test_what_lies_beside_a_silence_is_no_noise():
    """A sample of full scale on either side of both silences changes nothing that is said of them; they are shorter
    than half a second, so that one block of Welch's holds each to its last sample."""
    samples = np.pad(REEL.samples(), (LEAD, 900)) + 1e-4 * np.random.default_rng(1).standard_normal(
        REEL.n_samples + LEAD + 900
    )
    found = find_reel(samples, REEL)
    spans = tuple((end - 3500, end) for _, end in found.silences.spans)
    alignment = replace(found, silences=Silences(spans))
    spoilt = samples.copy()
    for first, end in spans:
        spoilt[[first - 1, end]] = 1.0
    plain, beside = ({one.name: one.value for one in noise_findings(of, REEL, alignment)} for of in (samples, spoilt))
    of_noise = [name for name in plain if "noise" in name and "snr" not in name]
    assert len(of_noise) >= 2
    for name in of_noise:
        assert beside[name] == plain[name]


# --- delays and gains along the stimulus ------------------------------------------------------------------------------


def path(values: np.ndarray, noise: float = 1.0) -> Path:
    return Path(
        values=np.asarray(values, dtype=complex),
        noise=np.full(values.size, noise),
        n_fft=2 * (values.size - 1),
        rate=RATE,
        low_hz=100.0,
        high_hz=4000.0,
    )


def test_each_bin_belongs_to_one_band():
    """The one on an edge, 1,000 Hz of bins 8 Hz apart, to the band above it."""
    ones = path(np.ones(501))
    below, above = (_product(ones, ones, band).real for band in ((800.0, 1000.0), (1000.0, 1200.0)))
    assert np.flatnonzero(below).tolist() == list(range(100, 125))
    assert np.flatnonzero(above).tolist() == list(range(125, 150))


@pytest.mark.parametrize("angle", [0.2, 1.0])
def test_the_scatter_of_a_bands_phase_is_that_of_its_delay(angle):
    """Phases of plus and minus a about nothing leave the coherence cos a, so of n free bins the mean's phase has the
    deviation tan a / sqrt(n) (1 / cos^2 a - 1 = tan^2 a), beside what a loudspeaker turns; half of the bins are free,
    and a phase is a delay by 2 pi times the band's middle."""
    edges_hz = np.array([800.0, 1600.0, 2400.0, 3200.0])
    turned = path(np.exp(1j * angle * (-1.0) ** np.arange(501)))
    ones = path(np.ones(501))
    products = np.array([_product(turned, ones, (low, low + 800.0)) for low in edges_hz[:-1]])
    delay, sigma = _delays(products, turned, edges_hz)
    middle = (edges_hz[:-1] + 400.0 - 4.0) / RATE
    expected = np.hypot(math.tan(angle) / math.sqrt(50.0), PHASE_ERROR_RAD) / (2.0 * np.pi * middle)
    np.testing.assert_allclose(delay, 0.0, atol=1e-9)
    np.testing.assert_allclose(sigma, expected, rtol=1e-9)


@pytest.mark.parametrize(("sigmas", "verdict"), [(1.9, "good"), (2.1, "usable")])
def test_the_highest_bands_rise_when_two_deviations_clear_of_a_fifth_of_a_decibel(sigmas, verdict):
    """The last chirp is made so loud that the least of its three highest bands lies so many deviations above 0.2 dB: a
    gain, which takes the noise along, moves no deviation. Of the stimulus nothing is known."""
    random = np.random.default_rng(4)
    values = 1.0 + 0.1 * (random.standard_normal(2001) + 1j * random.standard_normal(2001))
    before, edges_hz = path(np.ones(2001)), band_edges_hz(REEL)
    gain_db, sigma_db = band_gains_db(path(values), before, edges_hz)
    least_db = float(np.min((gain_db - sigmas * sigma_db)[-3:]))
    gain = 10.0 ** ((0.2 - least_db) / 20.0)
    after = path(gain * values, noise=gain**2)
    found = Markers(reel=REEL, clock=0.0, first=0.0, first_in_reel=0, distance=1, before=before, after=after)
    assert _gain(None, found).verdict == verdict


# --- crests -----------------------------------------------------------------------------------------------------------


def test_a_crest_that_is_flat_counts_once():
    """Of samples that are held at one height the last: 0, 1, 1, 1, 0.5 has one crest, 0, 1, 0 another."""
    period = np.array([0.0, 1.0, 1.0, 1.0, 0.5, 0.0, 1.0, 0.0, -1.0, -1.0])
    samples = np.tile(period, 9)
    np.testing.assert_array_equal(_heights(samples, np.arange(10, 80, 10), 10), np.ones((7, 2)))
