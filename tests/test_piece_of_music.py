"""The piece of music, made of what it is said to be made of: its notes, and how they come and go."""

import numpy as np
import pytest

from signals.programme import CHORDS_HZ, MELODY_HZ, _bass, _chords, _since, _voice, loudest_db


def test_the_notes_are_those_of_equal_temperament():
    """On a' = 440 Hz, as they are written, to four digits; chords A minor, F, C, G over their roots."""
    names = ("A", "A#", "B", "C", "C#", "D", "D#", "E", "F", "F#", "G", "G#")

    def name(hz: float) -> str:
        steps = 12.0 * np.log2(hz / 440.0)
        assert abs(steps - round(steps)) < 0.02, hz
        return names[round(steps) % 12]

    chords = [[name(hz) for hz in chord] for chord in CHORDS_HZ]
    assert [chord[0] for chord in chords] == ["A", "F", "C", "G"]
    assert [set(chord[1:]) for chord in chords] == [set("ACE"), set("FAC"), set("GCE"), set("GBD")]
    assert [name(hz) for hz in MELODY_HZ] == list("EDCBACDE")


def test_since_the_last_of_even_events():
    found = _since(np.array([0.0, 0.4, 0.6, 1.2]), every_s=0.5, first_s=0.5)
    np.testing.assert_allclose(found, [np.inf, np.inf, 0.1, 0.2])


def _rms(sound: np.ndarray, at_s: float, *, within_s: float = 0.02) -> float:
    rate = 16_000
    first = round((at_s - within_s / 2) * rate)
    return float(np.sqrt(np.mean(np.square(sound[first : first + round(within_s * rate)]))))


def test_bass_and_voice_die_away_as_they_are_said_to():
    """Plucked every 0.5 s with 0.35 s, sung every 0.25 s with 0.2 s, of tones that stay: e^-1 after one, seen on the
    same waveform a whole number of periods later."""
    time_s = np.arange(32_000) / 16_000.0
    bass = _bass(time_s)
    periods_s = 11 / 55.0  # of the first bar's 55 Hz: 0.2 s
    early, late = 0.1, 0.1 + periods_s
    assert _rms(bass, late, within_s=2 / 55.0) / _rms(bass, early, within_s=2 / 55.0) == pytest.approx(
        np.exp(-periods_s / 0.35), rel=1e-3
    )
    voice = _voice(time_s)
    assert _rms(voice, 0.24) < np.exp(-0.14 / 0.2) * 1.3 * _rms(voice, 0.1)
    # a syllable begins from nothing within 40 ms
    for begins_s in (0.25, 0.5, 0.75):
        assert _rms(voice, begins_s + 0.002, within_s=0.004) < 0.1 * _rms(voice, begins_s + 0.06)
        assert np.max(np.abs(voice[round(begins_s * 16_000)])) == 0.0


def test_chords_swell_within_three_tenths_of_a_second():
    """Half way up after 0.15 s: a raised cosine."""
    time_s = np.arange(32_000) / 16_000.0
    chords = _chords(time_s)
    whole = np.sqrt(np.mean(np.square(chords[round(0.4 * 16_000) : round(1.9 * 16_000)])))
    assert _rms(chords, 0.01) < 0.02 * whole
    spectrum = np.abs(np.fft.rfft(chords[8000:24000]))  # 1 s
    strongest = sorted(np.argsort(spectrum)[-3:])
    np.testing.assert_allclose(strongest, [220, 262, 330], atol=1)


def test_the_loudest_eighth_of_a_second():
    """1 for an eighth of a second in 2 s, nothing else: 10 lg 16."""
    played = np.zeros(16_000)
    played[5000:6000] = 1.0
    assert loudest_db(played, 8000) == pytest.approx(10.0 * np.log10(16.0))
    assert loudest_db(np.ones(500), 8000) == pytest.approx(0.0)
