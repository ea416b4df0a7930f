"""Sample rates, lengths, levels and file formats at their extremes, through `new`, `stimuli`, `add` and `analyze`.

The truth is a closed form: orders of Chebyshev polynomials behind a known filter (`tests/devices/stressed.py`).
"""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from tests.clumsy_session import table
from tests.devices.stressed import (
    AMPLITUDES,
    fundamental_dbfs,
    order_db,
    recording_of,
    session_at,
    worst_excess_db,
)

FADE_OUT = 2.0**-0.1


@dataclass(frozen=True)
class Found:
    """A harmonics table, and what findings.json says beside it."""

    rows: dict[str, np.ndarray]
    lowest_valid_hz: float
    drive_dbfs: float


@dataclass(frozen=True, kw_only=True)
class Extreme:
    """One session and what is done to its recording."""

    rate: int = 48000
    seconds: float = 3.2
    orders: str = "4"
    period_s: str = "0.5"
    stop_hz: float | None = None
    subtype: str = "DOUBLE"
    gain_db: float = 0.0
    offset: float = 0.0
    noise: float = 1e-12
    """So faint that nothing is hidden, yet no digital zeros, beside which no floor is known."""
    tiny: float = 0.0
    """Is put where the samples are smaller than 1e-9, if it is not 0."""

    @property
    def top_hz(self) -> float:
        """Where the sweep ends."""
        return self.stop_hz or min(22000.0, 0.458 * self.rate)


def analysed(folder: Path, extreme: Extreme) -> Found:
    """The extreme, brought in and analysed by the commands."""
    session = session_at(
        folder / "monitor",
        extreme.rate,
        seconds=extreme.seconds,
        orders=extreme.orders,
        period_s=extreme.period_s,
        stop_hz=str(extreme.top_hz),
    )
    sound = recording_of(session) * 10.0 ** (extreme.gain_db / 20.0)
    if extreme.noise:
        sound += extreme.noise * np.random.default_rng(1).standard_normal(sound.size)
    if extreme.tiny:
        sound[np.abs(sound) < 1e-9] = extreme.tiny
    take = folder / "take.wav"
    soundfile.write(take, sound + extreme.offset, extreme.rate, subtype=extreme.subtype)
    assert main(["add", str(session), str(take), "--stimulus", "sweep", "--level", "86"]) == 0
    assert main(["analyze", str(session)]) == 0
    (level,) = json.loads((session / "results/default/findings.json").read_text())["levels"]
    rows = table(session / "results/default/harmonics_86dB.csv")
    return Found(rows, level["lowest_valid_hz"], level["drive_dbfs"] + extreme.gain_db)


QUICK = {
    "8 kHz": Extreme(rate=8000),
    "11.025 kHz": Extreme(rate=11025, period_s="0.49995464852607707"),
    "44.1 kHz": Extreme(rate=44100),
    "96 kHz": Extreme(rate=96000),
    "192 kHz": Extreme(rate=192000),
    "384 kHz, up to 191 kHz": Extreme(rate=384000, stop_hz=191000.0),
    "0.5 s": Extreme(seconds=0.5, orders="2"),
    "1.6 s": Extreme(seconds=1.6),
    "-90 dBFS, 64 bits": Extreme(gain_db=-81.2),
    "-90 dBFS, 32-bit float": Extreme(gain_db=-81.2, subtype="FLOAT"),
    "int16": Extreme(subtype="PCM_16"),
    "int24": Extreme(subtype="PCM_24"),
    "int32": Extreme(subtype="PCM_32"),
    "offset of 0.1": Extreme(offset=0.0999, subtype="PCM_24", noise=1e-6),
    "denormal": Extreme(tiny=1e-310),
}
WIDE = QUICK | {
    "384 kHz": Extreme(rate=384000),
    "384 kHz, 20 s": Extreme(rate=384000, seconds=20.0),
    "5 s": Extreme(seconds=5.0),
    "60 s": Extreme(seconds=60.0),
    "120 s": Extreme(seconds=120.0),
    **{
        f"{kind} {gain_db} dB, noise {noise:g}": Extreme(subtype=kind, gain_db=gain_db, noise=noise)
        for kind in ("PCM_16", "PCM_24")
        for gain_db in (-20, -40, -60, -80)
        for noise in (0.0, 1e-7, 8e-6, 3e-5)
        if gain_db > -60 or noise < 1e-6  # others are refused: too much noise
    },
}


def judge(extreme: Extreme, found: Found) -> tuple[float, int]:
    """Worst excess and number of clear rows; asserts on the fundamental and on what lies beyond the sweep."""
    at_hz = found.rows["frequency_hz"]
    for order in (number for number in AMPLITUDES if f"h{number}_db" in found.rows):
        assert not np.any(
            np.isfinite(found.rows[f"h{order}_db"][order * at_hz > min(extreme.rate / 2, extreme.top_hz)])
        )
    lowest_hz = max(found.lowest_valid_hz, 24.9)
    return worst_excess_db(found.rows, stop_hz=extreme.top_hz * FADE_OUT, lowest_hz=lowest_hz)


OTHERS = {"44.1 kHz", "96 kHz", "384 kHz, up to 191 kHz", "1.6 s", "-90 dBFS, 32-bit float", "int24", "int32"}
"""What lies between the extremes, or takes long."""


@pytest.mark.first(2)
@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.sample) if name in OTHERS else name for name in QUICK]
)
def test_orders_and_fundamental_hold_at_the_extreme(name, tmp_path) -> None:
    """Orders within 0.05 dB of their closed form plus what their floor can move them, the fundamental within 0.03 dB.

    0.03 dB: smoothing over a twelfth of an octave rounds the filter by 0.002 dB, and at the lowest row the window of a
    sweep of 3.2 s leaves 0.02 dB.
    """
    extreme = QUICK[name]
    found = analysed(tmp_path, extreme)
    worst, clear_rows = judge(extreme, found)
    assert worst < 0.0
    if np.any(np.isfinite(found.rows["h2_noise_db"])):
        assert clear_rows > 100  # of 121 to 207 rows an order
    else:
        assert clear_rows == 0  # beside the sweep rounding left digital zeros, so no floor is known
    at_hz, level_db = found.rows["frequency_hz"], found.rows["fundamental_dbfs"]
    inside = (at_hz > max(found.lowest_valid_hz, 24.9)) & (at_hz < extreme.top_hz * FADE_OUT / 1.06)
    assert np.max(np.abs(level_db - fundamental_dbfs(at_hz, drive_dbfs=found.drive_dbfs))[inside]) < 0.03


def test_what_rounding_makes_of_a_quiet_recording_is_never_stated_as_clear(tmp_path) -> None:
    """19 steps of 16 bits without any noise: the staircase's orders stand up to 22 dB above the true ones. Beside the
    sweep there are digital zeros, so no floor is known, and every reading is marked."""
    extreme = Extreme(subtype="PCM_16", gain_db=-60.0)
    rows = analysed(tmp_path, extreme).rows
    for order in (2, 3, 4):
        inside = (rows["frequency_hz"] > 25.0) & (order * rows["frequency_hz"] < 20000.0)
        wrong = np.abs(rows[f"h{order}_db"] - order_db(order, rows["frequency_hz"])) > 3.0
        assert np.any(wrong & inside) or order == 2
        assert np.all(np.isnan(rows[f"h{order}_noise_db"]))


@pytest.mark.study
def test_the_wide_grid(tmp_path) -> None:
    print("\n| extreme | rows 30 dB clear | worst beyond what is allowed, dB |\n|---|---|---|")
    worst = {}
    for index, (name, extreme) in enumerate(WIDE.items()):
        (folder := tmp_path / str(index)).mkdir()
        worst[name], clear_rows = judge(extreme, analysed(folder, extreme))
        print(f"| {name} | {clear_rows} | {worst[name]:.3f} |", flush=True)
    assert max(worst.values()) < 0.0
