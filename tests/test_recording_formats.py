"""The same recording in every format, sample rate and channel that can be brought in gives the same curves."""

import shutil
from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile

from distort.__main__ import main
from tests.clumsy_session import RATE, heard, shorten, table

pytest_plugins = ["tests.clumsy_fixtures"]


def resampled(samples: np.ndarray, rate: int) -> np.ndarray:
    """By scipy's Fourier method: ideal, and not the resampler of the program."""
    return np.asarray(scipy.signal.resample(samples, samples.size * rate // RATE))


FORMATS = {
    "pcm16": ("wav", "PCM_16", RATE, ()),
    "pcm24": ("flac", "PCM_24", RATE, ()),
    "pcm32": ("wav", "PCM_32", RATE, ()),
    "double": ("wav", "DOUBLE", RATE, ()),
    "channel2": ("wav", "FLOAT", RATE, ("--channel", "2")),
    "at44100": ("wav", "FLOAT", 44100, ()),
    "at96000": ("wav", "FLOAT", 96000, ()),
}


@pytest.fixture(scope="module")
def formats(made, tmp_path_factory) -> Path:
    """A session in which every condition is the same recording, each in another format."""
    work = tmp_path_factory.mktemp("formats")
    session = Path(shutil.copytree(made, work / "monitor"))
    names = ", ".join(f'"{name}"' for name in ("original", *FORMATS))
    shorten(session, orders="4", conditions=f"[{names}]")
    sound = heard(session / "stimuli/sweep_96dB.wav")
    whole = sound[: sound.size // 160 * 160]  # 160 samples at 48 kHz are 147 at 44.1 kHz
    as_the_loud_sweep = ("--stimulus", "sweep", "--level", "96")
    for name, (suffix, subtype, rate, words) in {"original": ("wav", "FLOAT", RATE, ()), **FORMATS}.items():
        samples = whole if rate == RATE else resampled(whole, rate)
        others = 0.1 * np.random.default_rng(7).standard_normal((2, samples.size))
        columns = np.column_stack([others[0], samples, others[1]]) if words else samples
        path = work / f"{name}.{suffix}"
        soundfile.write(path, columns, rate, subtype=subtype)
        assert main(["add", str(session), str(path), *as_the_loud_sweep, "--condition", name, *words]) == 0
    assert main(["analyze", str(session)]) == 0
    return session


@pytest.mark.sample
@pytest.mark.parametrize("name", FORMATS)
def test_every_format_rate_and_channel_gives_the_same_curves(formats, name) -> None:
    """The same sound read from another file. Below 19 kHz, where converters and resamplers at 44.1 kHz are flat."""
    original = table(formats / "results/original/harmonics_96dB.csv")
    other = table(formats / f"results/{name}/harmonics_96dB.csv")
    frequency_hz = original["frequency_hz"]
    heard_there = frequency_hz < 19000.0
    # the resampler is flat within 0.001 dB, steps of 16 bits lie 80 dB below the sweep: 0.001 dB; files round to 1e-4
    np.testing.assert_allclose(
        other["fundamental_dbfs"][heard_there], original["fundamental_dbfs"][heard_there], rtol=0, atol=0.003
    )
    for order in (2, 3):
        clear = (order * frequency_hz < 19000.0) & (original[f"h{order}_db"] > original[f"h{order}_noise_db"] + 20.0)
        assert np.sum(clear) > 100
        difference = np.abs(other[f"h{order}_db"] - original[f"h{order}_db"])[clear]
        # steps of 16 bits (2^-15 / sqrt(12), W. R. Bennett 1948) are noise 21 dB below the recording's own, so 41 dB
        # below these readings: 0.08 dB, rarely twice that. Others differ by rounding alone.
        allowed_db = 0.15 if name == "pcm16" else 0.01
        assert np.max(difference) < allowed_db
