"""Music of a file: its band, its fades and its lengths, on tones whose gain is worked out by hand."""

import math

import numpy as np
import pytest

from signals import SignalError, hold_samples
from signals.sampled_programme import SampledProgramme, from_samples

GIVEN_RATE, RATE = 22050, 16000
THIRD = math.log(10.0**0.1)


def swell(share: float) -> float:
    return math.sin(0.5 * math.pi * min(max(share, 0.0), 1.0)) ** 2


def played(*tones_hz: float, offset: float = 0.0, **fields) -> SampledProgramme:
    """Five seconds of tones of 0.1 each."""
    time_s = np.arange(5 * GIVEN_RATE) / GIVEN_RATE
    samples = offset + sum(0.1 * np.sin(2.0 * np.pi * one * time_s) for one in tones_hz)
    given = {"given_rate": GIVEN_RATE, "sample_rate": RATE, "drive_dbfs": -40.0} | fields
    return from_samples(hold_samples(np.asarray(samples)), **given)


def amplitude(piece: SampledProgramme, hz: float) -> float:
    """Over three seconds in the middle, whole periods of every whole frequency."""
    middle = piece.samples()[RATE : 4 * RATE]
    return float(abs(np.fft.rfft(middle)[round(3 * hz)]))


@pytest.mark.parametrize(
    ("hz", "lowest_hz", "gain"),
    [
        (18.0, None, swell(math.log(18.0 / 20.0 * 10.0**0.1) / THIRD)),
        (20.0, None, 1.0),
        (15.0, None, 0.0),
        (90.0, 100.0, swell(math.log(0.9 * 10.0**0.1) / THIRD)),
        (7200.0, None, 1.0),
        (7700.0, None, swell(math.log(7200.0 * 10.0**0.1 / 7700.0) / THIRD)),
    ],
)
def test_the_band_of_a_piece_has_edges_of_a_third_of_an_octave(hz, lowest_hz, gain):
    """A raised cosine over the logarithm of frequency, from 20 Hz down and from 0.45 of 16 kHz up; beside a tone of
    1 kHz. The ends of the piece, faded, lie a second away."""
    piece = played(hz, 1000.0, lowest_hz=lowest_hz)
    assert amplitude(piece, hz) / amplitude(piece, 1000.0) == pytest.approx(gain, abs=2e-3)


def test_the_band_of_a_slow_file_fades_up_to_half_its_rate():
    """0.45 of 10 kHz is 4,500 Hz; a third of an octave above that lies beyond 5 kHz, so it fades from there."""
    time_s = np.arange(5 * 10000) / 10000
    tones = np.sin(2.0 * np.pi * 1000.0 * time_s) + np.sin(2.0 * np.pi * 4700.0 * time_s)
    piece = from_samples(hold_samples(0.1 * tones), given_rate=10000, sample_rate=RATE, drive_dbfs=-40.0)
    expected = swell(math.log(5000.0 / 4700.0) / math.log(5000.0 / 4500.0))
    assert amplitude(piece, 4700.0) / amplitude(piece, 1000.0) == pytest.approx(expected, abs=2e-3)


def test_both_ends_are_faded_within_20_milliseconds_and_an_offset_is_taken_off():
    """Half way up after 10 ms, at either end. The band is wide about 1 kHz: what the filter smears is under 1 %."""
    piece, shifted = played(1000.0), played(1000.0, offset=0.5)
    np.testing.assert_allclose(shifted.samples(), piece.samples(), atol=1e-5)
    samples = piece.samples()
    top = np.max(np.abs(samples))
    for at_s in (0.005, 0.010, 0.015, 0.025, 4.975, 4.985, 4.990, 4.995):
        around = np.abs(samples[round(at_s * RATE) - 8 : round(at_s * RATE) + 9])
        expected = max(swell(one / 0.02) for one in (min(at_s, 5.0 - at_s) + d for d in (-2.5e-4, 0.0, 2.5e-4)))
        assert np.max(around) / top == pytest.approx(expected, abs=0.03)


def test_its_crest_and_its_loudest_moment_are_those_of_what_is_played():
    piece = played(1000.0, 1500.0, 2600.0)
    samples = piece.samples()
    rms = math.sqrt(np.mean(samples**2))
    assert rms == pytest.approx(0.01 * math.sqrt(0.5))
    assert piece.given_crest_db == pytest.approx(20.0 * math.log10(np.max(np.abs(samples)) / rms / math.sqrt(2.0)))
    assert piece.peak_dbfs == pytest.approx(20.0 * math.log10(np.max(np.abs(samples))))
    running = np.convolve(samples**2, np.full(2000, 1.0 / 2000), mode="valid")
    assert piece.loudest_db == pytest.approx(10.0 * math.log10(np.max(running) / rms**2), abs=1e-6)
    assert piece.held


def made(**fields) -> SampledProgramme:
    given = {"sample_rate": 48000, "given_rate": 48000, "n_given": 480000, "given_crest_db": 10.0}
    return SampledProgramme(**(given | {"samples_sha256": 64 * "0", "given_loudest_db": 3.0} | fields))


@pytest.mark.parametrize(
    ("rate", "given_rate", "highest_hz"),
    [(48000, 44100, 19845.0), (96000, 48000, 20000.0), (16000, 48000, 7200.0), (44100, 96000, 19845.0)],
)
def test_it_ends_at_20_khz_or_45_per_cent_of_either_rate(rate, given_rate, highest_hz):
    piece = made(sample_rate=rate, given_rate=given_rate, n_given=10 * given_rate)
    assert piece.highest_hz == pytest.approx(highest_hz)
    assert (piece.begins_hz, made(lowest_hz=35.0).begins_hz) == (20.0, 35.0)


@pytest.mark.parametrize(
    ("n_given", "may"), [(5 * 48000, True), (5 * 48000 - 1, False), (60 * 48000, True), (60 * 48000 + 1, False)]
)
def test_it_lasts_five_seconds_to_a_minute(n_given, may):
    if may:
        assert made(n_given=n_given).n_samples == n_given
    else:
        with pytest.raises(SignalError, match="5 to 60 s"):
            made(n_given=n_given)


def test_a_begun_sample_is_one():
    """110,251 samples at 22,050 Hz are 80,000.7 at 16 kHz."""
    for n_given, n_samples in ((110250, 80000), (110251, 80001), (110252, 80002)):
        assert made(sample_rate=RATE, given_rate=GIVEN_RATE, n_given=n_given).n_samples == n_samples


def test_its_peak_may_reach_full_scale():
    assert made(drive_dbfs=-10.0).peak_dbfs == 0.0
    with pytest.raises(SignalError):
        made(drive_dbfs=-9.9)
    assert not made().held


@pytest.mark.parametrize(("weaker_db", "may"), [(-170.0, True), (-190.0, False)])
def test_a_piece_with_next_to_nothing_in_its_band_holds_no_sound(weaker_db, may):
    """A thousand-millionth of the highest sample, 180 dB: beside a tone below the band, one of 1 kHz."""
    time_s = np.arange(5 * GIVEN_RATE) / GIVEN_RATE
    fade = np.sin(np.pi * time_s / 5.0) ** 8  # so smooth that nothing of the low tone comes into the band
    samples = fade * (np.sin(2.0 * np.pi * 5.0 * time_s) + 10.0 ** (weaker_db / 20.0) * np.sin(6283.0 * time_s))
    given = {"given_rate": GIVEN_RATE, "sample_rate": RATE, "drive_dbfs": -40.0, "lowest_hz": 200.0}
    if may:
        assert from_samples(hold_samples(samples), **given).n_samples == 80000
    else:
        with pytest.raises(SignalError, match="holds no sound"):
            from_samples(hold_samples(samples), **given)
