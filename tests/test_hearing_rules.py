"""The ear's formulas at their bends, and margins and verdicts just on either side of where they turn."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.hearing.audibility import (
    Margins,
    multitone_margins,
    order_margins,
    room_noise_db_spl,
    verdict,
    worst_of_octave,
)
from distort.analysis.hearing.masking import (
    THRESHOLD_DB_SPL,
    bark,
    critical_bandwidth_hz,
    excitation_db,
    spread_by_schroeder_db,
    threshold_of_hearing_db_spl,
)
from distort.analysis.sweep.noise import NoiseDensity
from distort.report.text.numbers import decibels
from tests import report_examples as examples

HZ = grid_hz()


def test_the_critical_band_rate_at_its_bends():
    """Traunmueller 1990: 26.81 f / (1960 + f) - 0.53; below 2 Bark 0.15 of what is missing, above 20.1 0.22 of what
    exceeds."""
    for hz in (100.0, 150.0, 1000.0, 7000.0, 12000.0):
        plain = 26.81 * hz / (1960.0 + hz) - 0.53
        expected = plain + (0.15 * (2.0 - plain) if plain < 2.0 else 0.22 * (plain - 20.1) if plain > 20.1 else 0.0)
        assert bark(hz) == pytest.approx(expected, abs=1e-12)
    for z in (2.0, 20.1):  # both pieces meet there
        hz = 1960.0 * (z + 0.53) / (26.81 - z - 0.53)
        assert bark(hz * (1 - 1e-9)) == pytest.approx(float(bark(hz * (1 + 1e-9))), abs=1e-6)


def test_critical_bandwidths_by_their_formula():
    """Zwicker and Terhardt 1980: 25 + 75 (1 + 1.4 f^2)^0.69, f in kHz; 100 Hz at 0, 162.2 Hz at 1 kHz."""
    assert critical_bandwidth_hz(0.0) == pytest.approx(100.0)
    assert critical_bandwidth_hz(1000.0) == pytest.approx(25.0 + 75.0 * 2.4**0.69)
    assert critical_bandwidth_hz(4000.0) == pytest.approx(25.0 + 75.0 * 23.4**0.69)


def test_the_thresholds_stand_at_third_octaves():
    """Nominal midbands (IEC 61260-1, within 2 % of the exact ones) to 12.5 kHz, then 14 and 16 kHz, where ISO
    389-7:2005 has 18.4 and 40.2 dB (from memory)."""
    hz = np.array(list(THRESHOLD_DB_SPL))
    np.testing.assert_allclose(hz[:29], 1000.0 * 10.0 ** (0.1 * np.arange(-17, 12)), rtol=0.02)
    assert hz[29:].tolist() == [14000.0, 16000.0]
    assert threshold_of_hearing_db_spl([14000.0, 16000.0]) == pytest.approx([18.4, 40.2])
    assert threshold_of_hearing_db_spl(20.0 * (1 - 2.9e-3)) == pytest.approx(78.5)
    assert np.isnan(threshold_of_hearing_db_spl(20.0 * (1 - 3.2e-3)))
    assert np.isnan(threshold_of_hearing_db_spl(16000.1))


@pytest.mark.parametrize(
    ("both", "said"),
    [
        ((3.1, 9.0), "audible"),
        ((3.0, 9.0), "perhaps"),
        ((2.9, 9.0), "perhaps"),
        ((-3.1, -9.0), "not audible"),
        ((-3.0, -9.0), "perhaps"),
        ((-2.9, -9.0), "perhaps"),
        ((5.0, np.nan), "unknown"),
    ],
)
def test_a_verdict_is_clear_beyond_three_decibels(both, said):
    assert verdict(*both) == said
    assert verdict(*both[::-1]) == said


def margins(terhardt, schroeder=None, *, doubtful=None) -> Margins:
    values = np.broadcast_to(np.asarray(terhardt, dtype=float), HZ.shape)
    other = values if schroeder is None else np.broadcast_to(np.asarray(schroeder, dtype=float), HZ.shape)
    marks = np.zeros(HZ.size, dtype=bool) if doubtful is None else doubtful
    return Margins(frequency_hz=HZ, excitation_db=values, schroeder_db=other, doubtful=marks)


def test_the_worst_of_an_octave_is_that_of_both_models_mean():
    """1 kHz: 707.9 to 1412.5 Hz (IEC 61260-1), its lower edge in it and its upper one not."""
    first, end = (int(np.argmin(np.abs(HZ - edge))) for edge in (707.9458, 1412.5375))
    rising = np.arange(HZ.size, dtype=float)
    assert worst_of_octave(margins(rising), 1000.0, lowest_hz=0.0) == end - 1
    assert worst_of_octave(margins(-rising), 1000.0, lowest_hz=0.0) == first
    assert worst_of_octave(margins(rising, -1.5 * rising), 1000.0, lowest_hz=0.0) == first
    assert worst_of_octave(margins(-rising), 1000.0, lowest_hz=HZ[first + 3]) == first + 3
    holed = np.where(np.arange(HZ.size) == end - 1, np.nan, rising)
    assert worst_of_octave(margins(holed), 1000.0, lowest_hz=0.0) == end - 2
    marked = np.arange(HZ.size) >= end - 4
    assert worst_of_octave(margins(rising, doubtful=marked), 1000.0, lowest_hz=0.0) == end - 5


def test_noise_of_a_room_is_read_in_the_critical_band():
    """A density that rises straight: its mean over the band is that at the middle; full scale of power 1/2 is 110 dB
    SPL."""
    frequency_hz = np.arange(0.0, 8000.1, 2.5)
    noise = NoiseDensity(frequency_hz=frequency_hz, density=1e-12 * frequency_hz, sample_rate=16000, seconds=1.0)
    width = float(critical_bandwidth_hz(1000.0))
    found = room_noise_db_spl(noise, full_scale_db_spl=110.0, at_hz=np.array([1000.0]))
    assert found[0] == pytest.approx(110.0 + 10 * np.log10(2.0 * 1e-9 * width), abs=1e-3)


def test_the_rooms_noise_is_read_at_the_product():
    """Noise that rises 6 dB an octave above 20 Hz: order 2 at 2 f has it 6 dB higher than at f, and 4 dB below it
    counts."""
    orders = examples.harmonics(orders=2)
    loud = 60.0 + 20 * np.log10(HZ / 1000.0)
    faint = replace(orders, fundamental_db=np.full(HZ.size, -60.0))
    found = order_margins(faint, 2, noise_db_spl=np.where(HZ < 30.0, np.nan, loud))
    rows = (HZ > 1000.0) & (HZ < 7000.0)
    expected = orders.orders[0].level_db - (loud + 6.0206 - 4.0)
    np.testing.assert_allclose(found.excitation_db[rows], expected[rows], atol=1e-3)
    quiet = order_margins(faint, 2, noise_db_spl=np.full(HZ.size, np.nan))
    np.testing.assert_allclose(quiet.excitation_db, order_margins(faint, 2).excitation_db)


def test_all_bands_of_a_multitone_mask_together():
    """Powers of what is spread of lines and of distortion, by either model; masked is 5.5 dB below the lines."""
    band_hz = np.array([500.0, 1000.0, 2000.0])
    lines_db = np.array([70.0, 75.0, 60.0])
    own_db = lines_db + np.array([-20.0, -25.0, np.nan])
    given = {
        "lines_db_spl": lines_db,
        "distortion_db": own_db - lines_db,
        "doubtful": np.zeros(3, dtype=bool),
    }
    found = multitone_margins(band_hz, **given)
    for spread, margin in ((excitation_db, found.excitation_db), (spread_by_schroeder_db, found.schroeder_db)):
        for row in range(2):
            lines, own = (
                10 * np.log10(sum(10.0 ** (float(spread(band_hz[k], levels[k], band_hz[row])) / 10.0) for k in some))
                for levels, some in ((lines_db, range(3)), (own_db, range(2)))
            )
            assert margin[row] == pytest.approx(own - (lines - 5.5))
        assert np.isnan(margin[2])
    noisy = multitone_margins(band_hz, **given, noise_db_spl=np.full(3, 90.0))
    own = [
        10 * np.log10(sum(10.0 ** (float(excitation_db(band_hz[k], own_db[k], at)) / 10.0) for k in range(2)))
        for at in band_hz[:2]
    ]
    np.testing.assert_allclose(noisy.excitation_db[:2], np.array(own) - 86.0)


def test_nothing_has_no_sign() -> None:
    assert [decibels(value) for value in (-0.04, 0.04, -0.06, float("nan"))] == ["0.0", "0.0", "-0.1", "-"]
