"""The gain between two noisy paths, whose truth is known: noise in either must not look like a gain that was turned."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from distort.recording.quality.chirp_response import Path as Heard
from distort.recording.quality.continuity import turned_suddenly
from distort.recording.quality.track import band_gains_db
from distort.session.files.folder import SessionFolder
from distort.session.recordings.stored import load_recordings
from tests.devices.stressed import recording_of, session_at

BINS = 4097
EDGES_HZ = np.array([1000.0, 2000.0, 4000.0, 8000.0])


def noise(random: np.random.Generator, power: float) -> np.ndarray:
    """Of that power a bin, `(BINS,)`."""
    return np.sqrt(power / 2.0) * (random.standard_normal(BINS) + 1j * random.standard_normal(BINS))


def heard(values: np.ndarray, noise_power: float) -> Heard:
    return Heard(
        values=values,
        noise=np.full(BINS, noise_power),
        n_fft=2 * (BINS - 1),
        rate=48000,
        low_hz=EDGES_HZ[0],
        high_hz=EDGES_HZ[-1],
    )


@pytest.mark.parametrize("gain_db", [-3.0, 0.0, 1.0])
@pytest.mark.parametrize(("of_path", "of_reference"), [(0.3, 0.3), (0.02, 0.3), (0.3, 0.02), (0.0, 0.5)])
def test_noise_is_no_gain(gain_db: float, of_path: float, of_reference: float) -> None:
    """Noise 5 dB below the paths: the mean of 100 differs from the gain by no more than five standard errors, where a
    regression of one path on the other would be wrong by 10 lg(1 + 0.3) = 1.1 dB.

    The scatter is 8.7 sqrt((N1 / g^2 + N2) / 2 n) for n free bins and a path of power 1. It is stated with 2 / n, not
    1 / 2 n, as half of the bins are free where a path is padded, and to the safe side; and re the noisy reference.
    """
    random = np.random.default_rng([5, round(100 * of_path), round(100 * of_reference)])
    found, stated = [], []
    for _ in range(100):
        path = noise(random, 1.0)
        one = 10.0 ** (gain_db / 20.0) * path + noise(random, of_path)
        gains, sigmas = band_gains_db(
            heard(one, of_path + 1e-9), heard(path + noise(random, of_reference), of_reference + 1e-9), EDGES_HZ
        )
        found.append(gains)
        stated.append(sigmas)
    scatter_db = np.std(found, axis=0, ddof=1)
    np.testing.assert_array_less(np.abs(np.mean(found, axis=0) - gain_db), 5.0 * scatter_db / 10.0)
    # a standard deviation of 100 is known to 7 %: three times that
    np.testing.assert_allclose(np.mean(stated, axis=0) / scatter_db, 2.0 / np.sqrt(1.0 + of_reference), rtol=0.21)


POINTS = np.arange(17)


@pytest.mark.parametrize("share", [0.35, 0.45, 0.55, 0.7, 0.9])
@pytest.mark.parametrize("change_db", [-0.3, -1.5])
def test_a_loudspeaker_that_settles_is_no_gain_that_was_turned(share: float, change_db: float) -> None:
    """By a constant share from period to period, as heat and a limiter do, and on top of slower heating."""
    settling_db = change_db * (1.0 - share**POINTS) + 0.1 * change_db * POINTS / 17.0
    assert not turned_suddenly(settling_db, change_db)


@pytest.mark.parametrize("after", [1, 8, 15])
@pytest.mark.parametrize("part", [0.0, 0.5, 0.8])
@pytest.mark.parametrize("change_db", [-0.3, 1.5])
def test_a_step_is_one_wherever_it_falls(after: int, part: float, change_db: float) -> None:
    """Between two periods, or within one, of which a part is then louder; over slow heating of a tenth of it."""
    step_db = change_db * np.where(after < POINTS, 1.0, 0.0)
    step_db[after] += part * change_db
    assert turned_suddenly(step_db - 0.1 * abs(change_db) * POINTS / 17.0, change_db)


@pytest.mark.first(1)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_quiet_take_in_noise_is_not_told_as_a_gain_that_was_turned(tmp_path: Path, seed: int) -> None:
    """60 dB below full scale with 25 dB to the noise at 8 kHz: poor, for which the signal-to-noise stands, and true."""
    session = session_at(tmp_path / "monitor", 48000, seconds=3.2, orders="4", period_s="0.5", stop_hz="22000.0")
    sound = recording_of(session) * 10.0 ** (-60.0 / 20.0)
    sound += 3e-5 * np.random.default_rng(seed).standard_normal(sound.size)
    soundfile.write(tmp_path / "take.wav", sound, 48000, subtype="PCM_16")
    assert main(["add", str(session), str(tmp_path / "take.wav"), "--stimulus", "sweep", "--level", "86"]) == 0
    (recording,) = load_recordings(SessionFolder(session), "default")
    findings = {one.name: one for one in recording.sidecar.quality.checks}
    assert findings["gain"].verdict == "good"
    assert findings["gain"].value == pytest.approx(0.0, abs=0.6)  # three standard deviations of the highest three bands
    assert findings["snr_7943hz"].verdict == "usable"
