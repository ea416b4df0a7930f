"""A wire whose recording went through a 24-bit file with dither: what the file itself adds."""

import numpy as np
import pytest

from distort.analysis.sweep.sweeps import Reference, Settings, read_sweep, sweep_harmonics
from distort.session.audio.audio_file import read_audio, write_audio
from signals import Sweep
from tests.devices.takes import take


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_false_orders_stay_below_125_db_at_19_db_below_full_scale(tmp_path, suffix):
    """Triangular dither of 24 bits has a noise of -141 dBFS over the whole band; the longest windows let in the most.

    From 20 Hz, every order re the fundamental, smoothed over 1/12 octave.
    """
    sweep = Sweep(drive_dbfs=-19.0)
    clean = take(sweep.samples())
    path = tmp_path / f"wire{suffix}"
    write_audio(path, clean.samples, sweep.sample_rate, subtype="PCM_24", dither_seed=3)
    samples, rate = read_audio(path)
    assert rate == sweep.sample_rate
    assert 0 < np.max(np.abs(samples - clean.samples)) < 3 * 2.0**-23  # dither of two steps and rounding, no more
    recording = type(clean)(samples=samples, start=clean.start)
    harmonics = sweep_harmonics(read_sweep([recording], sweep, Settings()), Reference())
    for order in harmonics.orders:
        assert np.nanmax(order.relative_db) < -125.0
