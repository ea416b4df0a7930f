"""Multitones at the extremes of sample rate, through `new`, `stimuli`, `add` and `analyze`, behind x + a x^2."""

import json

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from distort.session.recordings.sidecar import read_stimulus_sidecar
from tests.devices.stressed import session_at

SQUARE = 0.01


RATES = [(8000, 0.5), (11025, 5512 / 11025), (44100, 0.5), pytest.param(384000, 0.5, marks=pytest.mark.study)]


@pytest.mark.first(1)
@pytest.mark.parametrize(("rate", "period_s"), RATES)
def test_even_order_distortion_is_that_of_the_square(rate, period_s, tmp_path) -> None:
    """The power of a x^2 but for its mean, from one period of what is played, re the power of the tones.

    0.15 dB: what the analysis promises at 50 dB signal to noise. Counted are whole third octaves (IEC 61260-1) below
    half the sample rate. The level is the drive within a thousandth.
    """
    session = session_at(tmp_path / "monitor", rate, period_s=repr(period_s))
    for name, square in (("sweep", 0.0), ("multitone", SQUARE)):
        told = read_stimulus_sidecar(session / f"stimuli/{name}_86dB.json")
        played = np.pad(told.reel.samples(), rate)
        noise = 3e-6 * np.random.default_rng(1).standard_normal(played.size)
        take = tmp_path / f"{name}.wav"
        soundfile.write(take, played + square * np.square(played) + noise, rate, subtype="PCM_24")
        assert main(["add", str(session), str(take), "--stimulus", name, "--level", "86"]) == 0
    assert main(["analyze", str(session)]) == 0
    (found,) = json.loads((session / "results/default/findings.json").read_text())["multitones"]
    tone = told.stimulus
    period = tone.samples()[tone.period_samples : 2 * tone.period_samples]
    power = np.square(np.abs(np.fft.rfft(SQUARE * np.square(period))))
    at_hz = np.arange(power.size) / period_s
    edges_hz = 1000.0 * 10.0 ** ((np.arange(-17, 14) + 0.5) / 10.0)
    inside = (at_hz > edges_hz[0]) & (at_hz < edges_hz[edges_hz < rate / 2][-1])
    truth_db = 10.0 * np.log10(np.sum(power[inside]) / np.sum(np.square(np.abs(np.fft.rfft(period)))))
    assert found["even_db"] == pytest.approx(truth_db, abs=0.15)
    assert found["measured_db"] == pytest.approx(told.drive_dbfs, abs=0.001)
    assert found["odd_db"] < found["even_db"] - 60.0
