"""A session at any sample rate, and what a curve and a filter of known answer make of its own stimulus files."""

from pathlib import Path

import numpy as np
import numpy.typing as npt
import scipy.fft

from distort.__main__ import main
from distort.session.recordings.sidecar import read_stimulus_sidecar
from signals import Sweep
from signals.levels import db_to_amplitude
from tests.clumsy_session import shorten
from tests.devices.cascade import Resonator
from tests.devices.memoryless import sweep_with_harmonics

FloatArray = npt.NDArray[np.float64]

AMPLITUDES = {1: 1.0, 2: 0.01, 3: 10**-2.5, 4: 0.001}
"""Of the curve `sum of a_n T_n`: orders 2 to 4 at -40, -50 and -60 dB."""

FILTER = Resonator(1500.0, 0.8, 0.6)
"""After the curve: 4 dB at 1.5 kHz, so broad that it has died away in a millisecond."""


def session_at(folder: Path, rate: int, *, seconds: float = 3.2, level: str = "86", **keys: str) -> Path:
    """A session made by the commands `new` and `stimuli`, of one level, with a sweep up to 0.458 of `rate`."""
    assert main(["new", str(folder), "--levels", level]) == 0
    given = {"sample_rate": str(rate), "stop_hz": str(min(22000.0, 0.458 * rate)), "orders": "4"}
    shorten(folder, **(given | {"seconds": str(seconds)} | keys))
    assert main(["stimuli", str(folder)]) == 0
    return folder


def recording_of(session: Path, *, level: str = "86", extra_s: float = 1.0) -> FloatArray:
    """What the curve and the filter make of stimuli/sweep, `(n,)`, without noise, `extra_s` of silence at both ends.

    The curve's harmonics are made one by one, so that nothing folds back; the filter is its response on the bins of
    one transform.
    """
    reel = read_stimulus_sidecar(session / f"stimuli/sweep_{level}dB.json").reel
    parts = [sweep_with_harmonics(x, AMPLITUDES) if isinstance(x, Sweep) else x.samples() for x in reel.items]
    silence = np.zeros(round(extra_s * reel.sample_rate))
    sound = np.concatenate([silence, *parts, silence])
    n_fft = scipy.fft.next_fast_len(sound.size, real=True)
    at_hz = np.arange(n_fft // 2 + 1) * (reel.sample_rate / n_fft)
    return np.asarray(scipy.fft.irfft(scipy.fft.rfft(sound, n_fft) * FILTER.response(at_hz), n_fft)[: sound.size])


def order_db(order: int, frequency_hz: FloatArray) -> FloatArray:
    """Level of that order re the fundamental, in closed form: `a_n |H(n f)| / |H(f)|`, dB."""
    gain = np.abs(FILTER.response(order * frequency_hz)) / np.abs(FILTER.response(frequency_hz))
    return np.asarray(20.0 * np.log10(AMPLITUDES[order] * gain))


def fundamental_dbfs(frequency_hz: FloatArray, *, drive_dbfs: float) -> FloatArray:
    """Level of the fundamental in closed form, dBFS (AES17)."""
    return np.asarray(20.0 * np.log10(db_to_amplitude(drive_dbfs) * np.abs(FILTER.response(frequency_hz))))


def allowed_db(over_floor_db: FloatArray, uncertainty_db: FloatArray) -> FloatArray:
    """Largest error of an order that stands `over_floor_db` above its floor, elementwise.

    0.05 dB of the method (the windows of a sweep of 3.2 s take 0.03 dB at 25 Hz), what a component as strong as the
    floor moves when it adds in phase, and twice the stated interval of 95 %, which noise passes once in 10,000 rows.
    """
    in_phase_db = 20.0 * np.log10(1.0 + 10.0 ** (-over_floor_db / 20.0))
    return np.asarray(0.05 + in_phase_db + 2.0 * np.nan_to_num(uncertainty_db))


def worst_excess_db(rows: dict[str, FloatArray], *, stop_hz: float, lowest_hz: float) -> tuple[float, int]:
    """By how much the worst reading of a harmonics table passes `allowed_db`, and how many stand 30 dB clear.

    rows       the table by column
    stop_hz    where the sweep's fade-out begins; 6 % below it smoothing and filter meet nothing of that
    lowest_hz  the lowest frequency that the result vouches for
    """
    at_hz = rows["frequency_hz"]
    worst, clear_rows = -np.inf, 0
    for order in (number for number in AMPLITUDES if f"h{number}_db" in rows):
        over_db = rows[f"h{order}_db"] - rows[f"h{order}_noise_db"]
        clear = (over_db > 30.0) & (at_hz > lowest_hz) & (order * at_hz < stop_hz / 1.06)
        allowed = allowed_db(over_db, rows[f"h{order}_uncertainty_db"])
        excess = np.abs(rows[f"h{order}_db"] - order_db(order, at_hz)) - allowed
        worst = max(worst, float(np.max(excess[clear], initial=-np.inf)))
        clear_rows += int(np.sum(clear))
    return worst, clear_rows
