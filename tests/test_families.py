"""The made loudspeakers of the families do what their truth says: closed forms, and their own recordings."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.fft

from tests.families.catalogue import FAMILIES, seeds
from tests.families.conversion import RATES_DIFFER_HZ, converted, image_db
from tests.families.devices import Bent, Device, Way
from tests.families.filters import Band, Reflection, Resonance, Ripple, Room
from tests.families.folder import make_session
from tests.families.sources import Slack
from tests.families.truth import smoothed_db

RATE = 24000
N = RATE // 2
"""Half a second: bins 2 Hz apart, and tones on them are whole turns."""


def _tone(hz: float) -> np.ndarray:
    return np.cos(2.0 * math.pi * hz * np.arange(N) / RATE)


def _steady_orders(device: Device, hz: float, amplitude: float) -> np.ndarray:
    """Levels in dB SPL of orders 1 to 10 in what is recorded of a tone, half a second after it began."""
    played = np.concatenate([_tone(hz)] * 2)
    (heard,) = device.recorded(played, RATE, [amplitude])
    spectrum = 2.0 / N * scipy.fft.rfft(heard[N : 2 * N])
    bins = np.arange(1, 11) * round(hz * N / RATE)
    return 96.0 + 20.0 * np.log10(np.abs(spectrum[bins]) + 1e-12)


def test_what_is_recorded_of_a_tone_is_what_the_steady_state_says():
    """Two computations that share the filters alone: a Fourier series, and a signal that is raised to powers."""
    body = Way(powers={1: 1.0, 2: 0.02, 3: -0.03, 5: 0.1}, after=Ripple(seed=1, rms_db=0.5))
    local = Way(before=Band(at_hz=600.0, q=3.0), powers={3: 0.1})
    device = Device(ways=(body, local), heard=Reflection(amplitude=0.5, delay_s=1e-3))
    for amplitude, level in ((1.0, 96.0), (10.0**-0.1, 94.0)):
        expected = device.steady_db(np.array([640.0]), level)[:, 0]
        # 0.01 dB: what half a second leaves of the beginning of the filters' decay.
        np.testing.assert_allclose(
            _steady_orders(device, 640.0, amplitude)[[0, 1, 2, 4]], expected[[0, 1, 2, 4]], atol=0.01
        )


def test_a_cubic_compresses_and_distorts_as_its_closed_form_says():
    """y = x + a x^3: gain 1 + 3/4 a A^2, third order a A^3 / 4."""
    device = Device(ways=(Way(powers={1: 1.0, 3: -0.2}),))
    levels = device.steady_db(np.array([500.0]), 96.0)[:, 0]
    assert levels[0] == pytest.approx(96.0 + 20.0 * math.log10(1.0 - 0.15), abs=1e-9)
    assert levels[2] == pytest.approx(96.0 + 20.0 * math.log10(0.05), abs=1e-9)


@pytest.mark.parametrize("hz", [1500.0, 4000.0, 8000.0])
def test_what_folds_back_lies_80_db_below_the_tone(hz):
    """All that a tone leaves between its own multiples is aliases, for a curve with a corner the worst of all."""
    slack = Bent(curve=Slack(play=0.5, size=0.15, both_sides=True), before=Band(at_hz=hz, q=2.0))
    device = Device(ways=(Way(powers={1: 1.0, 5: 0.01}), slack))
    played = np.concatenate([_tone(hz)] * 2)
    (heard,) = device.recorded(played, RATE, [1.0])
    spectrum = 2.0 / N * np.abs(scipy.fft.rfft(heard[N : 2 * N]))
    first = round(hz * N / RATE)
    tone = spectrum[first]
    spectrum[::first] = 0.0
    # A tone whose multiples divide the rate folds onto itself: the next bins are looked at with a tone beside it.
    assert np.max(spectrum) < 1e-4 * tone


def test_resonances_and_copies_are_as_high_as_they_say():
    at = np.array([1000.0])
    assert 20.0 * math.log10(abs(Resonance(at_hz=1000.0, q=5.0, gain_db=-12.0)(at)[0])) == pytest.approx(-12.0)
    assert 20.0 * math.log10(abs(Resonance(at_hz=1000.0, q=5.0, gain_db=7.0)(at)[0])) == pytest.approx(7.0)
    dip = Reflection(amplitude=0.75, delay_s=0.5e-3)(at)[0]  # 1 - r at 1 / (2 tau)
    assert abs(dip) == pytest.approx(0.25)


def test_a_room_is_the_same_on_any_grid():
    """Interpolated between points a tenth of its lines apart: within (pi/10)^2/8 of what is late, some per cent."""
    around = Room(seed=3, rt60_s=0.3, drr_db=3.0, sample_rate=8000)
    grid = scipy.fft.rfftfreq(8000, 1.0 / 8000)
    np.testing.assert_allclose(around(grid)[700:703], around(grid[700:703]), rtol=0.02)


def test_a_poor_conversion_leaves_images_where_the_two_rates_differ():
    """A tone of 1,000 Hz at 48 kHz has its image at 3,900 - 1,000 and 3,900 + 1,000 Hz, as far down at any level."""
    tone = np.cos(2.0 * math.pi * 1000.0 * np.arange(48000) / 48000)
    for level in (1.0, 0.01):
        window = np.hanning(24000)
        heard = np.abs(np.fft.rfft(converted(level * tone, 60.0)[12000:36000] * window)) / (level * 0.25 * 24000)
        for sign in (-1, 1):
            place = round((RATES_DIFFER_HZ + sign * 1000.0) / 2.0)
            found = 20.0 * math.log10(np.max(heard[place - 2 : place + 3]))
            # 0.1 dB: the good filter of the way back, and the window's own ripple.
            assert found == pytest.approx(image_db(1000.0, 1, sign, 60.0), abs=0.1)
        assert heard[round(2300 / 2)] < 1e-5  # and nothing elsewhere


@pytest.mark.parametrize("family", FAMILIES)
def test_a_family_draws_what_its_seed_says_and_nothing_else(family):
    one, again = FAMILIES[family](11), FAMILIES[family](11)
    assert one.truth == again.truth
    assert one.truth.family == family
    assert FAMILIES[family](12).truth.record() != one.truth.record()
    for cause in one.truth.causes:
        assert cause.frequency_hz > 0.0
        assert any(math.isclose(cause.frequency_hz, place) for place in cause.places_hz) or cause.places_hz


def test_the_seeds_of_the_splits_never_meet():
    assert not set(seeds("tune", 2000)) & set(seeds("fresh", 2000))
    with pytest.raises(ValueError, match="500000"):
        seeds("tune", 500_001)


@pytest.mark.sample
def test_a_session_of_a_family_is_analysed_and_shows_the_source(tmp_path):
    """Recording, plan and sidecars are read as any others, and the third order at the place is what the truth says."""
    from distort.pipeline import analyze_session

    case = replace(FAMILIES["local-source"](3), levels=(96.0,))
    session = make_session(case, tmp_path / "session")
    (results,) = analyze_session(session, threads=1, progress=lambda *_: None)
    (cause,) = json.loads((session / "truth.json").read_text())["causes"]
    harmonics = results.harmonics[-1]
    row = int(np.abs(harmonics.frequency_hz - cause["frequency_hz"]).argmin())
    expected = smoothed_db(case.devices["default"], float(harmonics.frequency_hz[row]), 96.0)
    assert cause["source_db"]["h3"]["96.0"] > 20.0
    # What noise does at 50 dB above it, and a sweep of 4 s that passes a place of Q 5.
    assert harmonics.orders[1].level_db[row] == pytest.approx(expected[2], abs=0.1)
    assert harmonics.fundamental_db[row] == pytest.approx(expected[0], abs=0.02)
