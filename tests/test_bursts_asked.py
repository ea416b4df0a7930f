"""A burst series on a sound card without a clock: it asks once, plays what it said, and nothing above the cap."""

import numpy as np
import pytest

from tests.devices.answering import RATE
from tests.test_answering_at_once import CARDS, Terminal, card, distort, recorded, require_quiet, session

__all__ = ["card", "distort"]

pytestmark = pytest.mark.sample


def test_it_asks_once_and_then_plays_what_it_said(tmp_path, distort, card, monkeypatch) -> None:
    """A wire, whose level is its drive: full scale is 120 dB SPL. A cap of -37.5 dBFS lets 80 dB SPL go up to 82."""
    monkeypatch.setattr("distort.analysis.burst_series.steps.LEAST_REST_S", 0.1)
    wire = card(gain_db=0.0, second=0.0, third=0.0, reflection=0.0)
    folder = session(tmp_path, "80")
    plan = folder / "session.toml"
    text = plan.read_text().replace("max_drive_dbfs = -6", "max_drive_dbfs = -37.5")
    plan.write_text(f"{text}\n[burst]\nlowest_hz = 400\nhighest_hz = 500\n")
    distort.done("measure", folder, *CARDS, "--yes", "--only", "sweep_80dB")
    until_now = wire.played.size

    monkeypatch.setattr("sys.stdin", Terminal("no\n"))
    asked = distort("measure", folder, *CARDS, "--bursts")
    assert (asked.status, asked.err) == (130, "")
    assert "98-126" in asked.out
    assert "Burst series in condition default: 2 third octaves from 398 Hz to 501 Hz" in asked.out
    assert "5 recordings in 1 min with rests" in asked.out
    assert asked.out.splitlines()[-1].endswith("Nothing of it was played.")
    require_quiet(wire.played[until_now:])
    assert recorded(folder) == {"sweep_80dB"}

    monkeypatch.setattr("sys.stdin", Terminal("yes\n"))
    until_now = wire.played.size
    said = distort.done("measure", folder, *CARDS, "--bursts")
    assert "2 were kept by the highest drive" in said
    stems = {"burst_80dB", "burst_80dB_take2", "burst_80dB_take3", "burst_80dB_take4", "burst_82dB"}
    assert recorded(folder) == {"sweep_80dB", *stems}
    # 82 dB SPL are -38 dBFS, within what the calibrator and the quiet run are off by
    loudest_dbfs = 20.0 * np.log10(np.max(np.abs(wire.played[-5 * 9 * RATE :])))  # after the noise that wakes
    assert -38.1 < loudest_dbfs < -37.5
    assert wire.played.size > 5 * 9 * RATE
    assert "every band of the burst series has ended" in distort.done("measure", folder, *CARDS, "--bursts", "--yes")
