"""Sweeps and recordings that strangers make: bare, at full scale, without silence, muted, or of something else.

Every mistake is played on the command line from a new session, and answered by a true result or a true sentence.
"""

import re
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.clumsy_session import CommandLine, table

RATE = 16000
SECONDS = 4.0
NOISE = 3e-4
GROWTH_S = SECONDS / np.log(7000.0 / 20.0)
SECOND_DB = 20.0 * np.log10(0.004 / 2.0 / 0.2)
"""Of 0.2 x + 0.004 x^2 and a full-scale sine: b A / (2 a)."""


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


def stimulus() -> np.ndarray:
    """Farina's sweep (AES 108th Convention, 2000), 20 Hz to 7 kHz, at exactly full scale."""
    time_s = np.arange(round(SECONDS * RATE)) / RATE
    made = np.sin(2.0 * np.pi * 20.0 * GROWTH_S * np.expm1(time_s / GROWTH_S))
    made[:80] *= np.linspace(0.0, 1.0, 80)
    made[-80:] *= np.linspace(1.0, 0.0, 80)
    return made


def noise(count: int, seed: int) -> np.ndarray:
    return NOISE * np.random.default_rng(seed).standard_normal(count)


def heard(before_s: float, after_s: float, seed: int = 1) -> np.ndarray:
    played = 0.2 * stimulus() + 0.004 * stimulus() ** 2
    samples = np.pad(played, (round(before_s * RATE), round(after_s * RATE)))
    return samples + noise(samples.size, seed)


@pytest.fixture
def folder(distort, tmp_path) -> Path:
    distort.done("new", tmp_path / "s", "--levels", "86,96")
    soundfile.write(tmp_path / "sweep.wav", stimulus().astype(np.float32), RATE, subtype="FLOAT")
    return tmp_path


def filed(folder: Path, samples: np.ndarray, name: str = "take.wav", *, subtype: str = "PCM_24") -> Path:
    soundfile.write(folder / name, samples, RATE, subtype=subtype)
    return folder / name


def words(folder: Path, path: Path, level: str = "86") -> tuple[object, ...]:
    return ("add", folder / "s", path, "--stimulus-file", folder / "sweep.wav", "--level", level)


def test_a_bare_sweep_with_silence_behind_it_has_a_floor(distort, folder):
    """3 s of white noise of s = 3e-4 behind it. Its floor: density s^2 / (fs / 2) times the inverse of the sweep's
    spectrum, L / (4 f) for amplitude 1, in the window of the order, re the fundamental of 0.2. The second order is at
    full level, b A / (2 a)."""
    said = distort.done(*words(folder, filed(folder, heard(0.0, 3.0))))
    assert "There is silence only after the stimulus" in said
    distort.done("analyze", folder / "s")
    found = table(folder / "s/results/default/harmonics_86dB.csv")
    rows = (found["frequency_hz"] > 100.0) & (found["frequency_hz"] < 2500.0)
    assert np.all(np.isfinite(found["h2_noise_db"][rows]))
    assert np.median(found["h2_db"][rows]) == pytest.approx(SECOND_DB, abs=0.1)
    # window of order 2: opening 0.45 L ln 1.5 and closing 0.6 L ln 2, raised cosines over 0.7 and 0.5 of them
    before_s, after_s = 0.45 * GROWTH_S * np.log(1.5), 0.6 * GROWTH_S * np.log(2.0)
    energy = RATE * (before_s * (0.3 + 0.7 * 3.0 / 8.0) + after_s * (0.5 + 0.5 * 3.0 / 8.0))
    at_hz = 2.0 * found["frequency_hz"][rows]
    inverse = 4.0 * at_hz / GROWTH_S / RATE**2
    floor_db = 10.0 * np.log10(NOISE**2 * inverse * energy / 0.2**2)
    # 3 s tell a twelfth of an octave above 200 Hz to some tenths of a decibel
    assert np.median(found["h2_noise_db"][rows] - floor_db) == pytest.approx(0.0, abs=0.2)


def test_takes_without_silence_do_not_repeat_and_nothing_is_above_a_floor(distort, folder):
    for seed in (1, 2):
        said = distort.done(*words(folder, filed(folder, heard(0.05, 0.1, seed), f"take{seed}.wav")))
        assert "There is no silence of 0.5 s before or after the stimulus, so the noise floor is not known" in said
    said = distort.done("analyze", folder / "s")
    assert "The noise floor is not known, as no silence was recorded" in said
    quality = " ".join(distort.done("show", folder / "s", "quality").split())
    assert "Whether its response repeats that of sweep_86dB is not known" in quality
    assert "Whether something sounded during this one or sweep_86dB is not known" in quality
    assert "explains" not in quality.replace("to tell what noise explains", "")
    assert "so no distortion is put down to the loudspeaker there" in distort.done("show", folder / "s", "findings")
    shown = [line for line in distort.done("show", folder / "s", "harmonics").splitlines() if line.startswith("H2")]
    assert shown
    assert shown[0].count("?") >= 7


@pytest.mark.sample
def test_without_a_floor_no_difference_is_stated(distort, tmp_path):
    distort.done("new", tmp_path / "s", "--levels", "86", "--conditions", "stand,desk")
    soundfile.write(tmp_path / "sweep.wav", stimulus().astype(np.float32), RATE, subtype="FLOAT")
    for seed, condition, after_s in ((1, "stand", 3.0), (2, "desk", 0.1)):
        path = filed(tmp_path, heard(0.05, after_s, seed), f"{condition}.wav")
        distort.done(*words(tmp_path, path), "--condition", condition)
        distort.done("analyze", tmp_path / "s", "--condition", condition)
    said = " ".join(distort.done("compare", f"{tmp_path / 's'}:stand", f"{tmp_path / 's'}:desk").split())
    assert "No noise floor is known of 86 dB of desk: noise may make any difference there, so none is stated." in said
    assert not re.search(r"none > \d", said)


def test_digital_zeros_beside_the_stimulus_are_told(distort, folder):
    samples = heard(2.0, 3.0)
    samples[: 2 * RATE] = samples[-3 * RATE :] = 0.0
    said = distort.done(*words(folder, filed(folder, samples)))
    assert "digital zeros, not the noise of the room" in said
    assert "its noise floor is not known" in said


def test_one_sample_at_full_scale_is_not_clipped_and_a_run_of_them_is(distort, folder):
    """Normalised to its highest sample, on a crest of its low frequencies, as many programs do; then 0.5 dB more."""
    low = np.convolve(stimulus(), np.ones(40) / 40.0)[: stimulus().size]
    samples = np.pad(low, (2 * RATE, 3 * RATE)) + noise(low.size + 5 * RATE, 1)
    samples /= np.max(np.abs(samples))
    for subtype, highest in (("FLOAT", 1.0), ("PCM_16", 1.0 - 2.0**-15)):
        path = filed(folder, samples * highest, f"{subtype}.wav", subtype=subtype)
        assert "clipped" not in distort.done(*words(folder, path))
    path = filed(folder, np.clip(samples * 10.0 ** (0.5 / 20.0), -1.0, 1.0), "clipped.wav", subtype="FLOAT")
    assert "samples are clipped at 0.0 dBFS" in distort(*words(folder, path)).err


def test_a_loud_recording_of_something_else_is_not_called_noise(distort, folder):
    other = 0.2 * np.sin(2.0 * np.pi * 900.0 * np.expm1(np.arange(6 * RATE) / RATE / 3.0)) + noise(6 * RATE, 1)
    for samples in (other, 1e-3 * other, 0.1 * np.random.default_rng(1).standard_normal(6 * RATE)):
        said = distort.refused(*words(folder, filed(folder, samples)), inside=folder)
        assert "The recording holds something else than the stimulus" in said
    hiss = filed(folder, noise(6 * RATE, 1), "hiss.wav")
    assert "This channel holds nothing but noise" in distort.refused(*words(folder, hiss), inside=folder)


@pytest.mark.first(1)
@pytest.mark.parametrize("hz", [250.0, 1000.0])
def test_a_calibrators_tone_is_known(distort, folder, hz):
    for seconds in (3.5, 10.0):  # shorter than the stimulus, and longer
        time_s = np.arange(round(seconds * RATE)) / RATE
        tone = 0.1 * np.sin(2.0 * np.pi * hz * time_s) + noise(time_s.size, 1)
        path = filed(folder, tone, f"tone{seconds}.wav")
        said = distort.refused(*words(folder, path), inside=folder)
        assert f"holds no stimulus but a steady tone of {hz:.0f} Hz" in said
        assert f"distort calibrate {folder / 's'} --spl LEVEL --from {path}" in said
