"""The whole job on a loudspeaker of known answer and a card without a clock: what is said, and what is not played."""

import io
import json
import re
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from distort.capture.devices.pauses import PauseWatch
from distort.capture.devices.playing import FADE_S
from distort.capture.devices.sound_card import loudest_stretch_dbfs
from tests.clumsy_session import CommandLine, contents, shorten
from tests.devices.answering import LOUD, RATE, Answering
from tests.devices.hasty_card import BLOCK, HastyLibrary, Spoil, as_heard

pytestmark = pytest.mark.sample

CARDS = ("--output", "loudspeaker", "--input", "microphone")
QUICK = {"rest_s": "0.1", "period_s": "0.25", "seconds": "1.6", "orders": "5"}


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def card(monkeypatch):
    """Puts a loudspeaker of some answer in the place of the system's sound cards."""

    def put(*, gap_samples: int = 0, spoil: Spoil = as_heard, **parameters: float) -> HastyLibrary:
        library = HastyLibrary(Answering(**parameters), gap_samples=gap_samples, gap_after_s=0.5, spoil=spoil)
        monkeypatch.setitem(sys.modules, "sounddevice", library)
        return library

    # it has no clock that a late block could have missed
    monkeypatch.setattr("distort.capture.devices.sound_card.LATE_LATENCIES", 1e6)
    monkeypatch.setattr("distort.capture.devices.playing.LONGEST_GAP_S", 1e6)
    never = PauseWatch(clock=lambda: 0.0, asleep=lambda: 0.0)  # a busy machine that holds a test up is no pause
    monkeypatch.setattr("distort.capture.devices.sound_card.of_this_process", lambda: never)
    return put


def session(tmp_path: Path, levels: str, *, calibrator_dbfs: float = -26.0, **more: str) -> Path:
    """Calibrated with a tone of `calibrator_dbfs` that is taken for 94 dB SPL.

    At -26 dBFS full scale stands for 120 dB SPL. At a drive of 0 dBFS the loudspeaker then gives 105.9 dB SPL in the
    band that sets its level: 120 less 14, and the power mean of its ripple.
    """
    folder = tmp_path / "monitor"
    assert main(["new", str(folder), "--levels", levels, "--name", "Monitor A"]) == 0
    shorten(folder, **(QUICK | more))
    tone = 10.0 ** (calibrator_dbfs / 20.0) * np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(5 * RATE))
    soundfile.write(tmp_path / "calibrator.wav", tone, RATE, subtype="PCM_24")
    words = ("--spl", "94", "--from", str(tmp_path / "calibrator.wav"), "--replace")
    assert main(["calibrate", str(folder), *words]) == 0
    return folder


def recorded(folder: Path) -> set[str]:
    return {path.stem for path in (folder / "recordings/default").glob("*.flac")}


def wake_scatter_db() -> float:
    """Standard deviation of the level of 0.4 s of the noise that wakes a loudspeaker, pink from 100 Hz to 5 kHz.

    The power of Gaussian noise in a time T follows chi-square with 2 B T degrees of freedom, so its relative standard
    deviation is `1 / sqrt(B T)`; B is the statistical bandwidth `(int S)^2 / int S^2` (Bendat and Piersol, Random Data,
    section 8.3, from memory), and for S = 1 / f: `ln(f2 / f1)^2 / (1 / f1 - 1 / f2)` = 1562 Hz.
    """
    bandwidth_hz = np.log(5000.0 / 100.0) ** 2 / (1.0 / 100.0 - 1.0 / 5000.0)
    return float(10.0 / np.log(10.0) / np.sqrt(bandwidth_hz * 0.4))


def require_quiet(played: np.ndarray) -> None:
    """Nothing but the quiet run at -46 dBFS was played.

    The sweep is at -46.0 all the time. The noise before it holds seven stretches of 0.4 s apart from each other, whose
    levels scatter by 0.17 dB, and four times that is passed by one of 30,000.
    """
    loudest = loudest_stretch_dbfs(played, RATE)
    assert -46.05 < loudest < -46.0 + 4.0 * wake_scatter_db()
    assert np.max(np.abs(played)) < LOUD


class Terminal(io.StringIO):
    """Somebody sits there and answers."""

    def isatty(self) -> bool:
        return True


def test_asked_once_then_all_of_it_then_nothing_more(tmp_path, distort, card, monkeypatch) -> None:
    """A wire, whose level is its drive: 120 dB SPL and -34 dBFS are 86 dB SPL."""
    wire = card(gain_db=0.0, second=0.0, third=0.0, reflection=0.0)
    folder = session(tmp_path, "86")
    monkeypatch.setattr("sys.stdin", Terminal("no\n"))
    asked = distort("measure", folder, *CARDS)
    assert (asked.status, asked.err) == (130, "")
    assert "98-126" in asked.out
    assert "Play it? Type yes: " in asked.out
    assert asked.out.splitlines()[-1].endswith("Nothing of it was played.")
    plan = [line for line in asked.out.splitlines() if "dB SPL: " in line]
    assert len(plan) == 1
    assert plan[0].startswith("  86 dB SPL: 2 recordings, ")
    assert "drive -34.0, peak " in plan[0]
    assert plan[0].endswith(" 6 h a day")  # 8 / 2^(1/3) = 6.35 h
    require_quiet(wire.played)
    the_quiet_run = contents(folder / "calibration")
    assert "drive.json" in the_quiet_run
    assert not (folder / "recordings").exists()

    monkeypatch.setattr("sys.stdin", Terminal("yes\n"))
    distort.done("measure", folder, *CARDS, "--loopback-channel", "2")
    assert recorded(folder) == {"sweep_86dB", "multitone_86dB"}
    assert {path.stem for path in (folder / "loopback/default").glob("*.flac")} == recorded(folder)
    after = contents(folder / "calibration")
    assert after.pop("sounded.json")
    assert after == the_quiet_run
    until_now = wire.played.size
    assert "everything" in distort.done("measure", folder, *CARDS, "--yes")
    assert wire.played.size == until_now

    distort.done("analyze", folder)
    findings = json.loads((folder / "results/default/findings.json").read_text(encoding="utf-8"))
    assert findings["simulated"] is False
    for level in findings["levels"]:
        # a calibrator is read within 0.01 dB, and a sweep of 2 s bends its own ends
        assert level["measured_db"] == pytest.approx(level["level_db_spl"], abs=0.02)


def test_a_calibration_wrong_by_20_db_plays_nothing_above_the_cap(tmp_path, distort, card) -> None:
    """The calibrator gives 114 dB SPL and is taken for 94: every level would be played 20 dB too loud."""
    cards = card()
    folder = session(tmp_path, "92", calibrator_dbfs=-6.0, max_drive_dbfs="-20")
    ending = distort("measure", folder, "--yes", *CARDS)
    assert ending.status == 1
    assert "above [safety] max_drive_dbfs = -20" in ending.err
    require_quiet(cards.played)
    assert recorded(folder) == set()
    shorten(folder, **QUICK, max_drive_dbfs="-20", db_spl="[64]")
    assert distort("measure", folder, "--yes", *CARDS, "--only", "sweep_64dB").status == 0
    # taken for 85.9 dB SPL at a drive of 0 dBFS, it is driven to -21.9 for 64
    assert loudest_stretch_dbfs(cards.played, RATE) == pytest.approx(-21.9, abs=0.1)


def test_the_ceiling_holds_where_the_loudspeaker_is_loudest(tmp_path, distort, card) -> None:
    """Where its reflection adds, `20 log10 1.3` over 106: 94.4 dB SPL when the band has 92.

    A sweep of 1.6 s reads its own lowest rows up to 0.4 dB high.
    """
    cards = card()
    folder = session(tmp_path, "92", ceiling_db_spl="93.5")
    ending = distort("measure", folder, "--yes", *CARDS)
    assert ending.status == 1
    assert re.search(r"would give 94\.[4-8] dB SPL where it is loudest, above \[safety\] ceiling_db_spl", ending.err)
    require_quiet(cards.played)
    assert recorded(folder) == set()


@pytest.mark.parametrize(("turned_db", "kept"), [(4.0, {"sweep_82dB"}), (12.0, set())])
def test_a_volume_that_is_turned_up_in_the_midst_stops_it(tmp_path, distort, card, turned_db, kept) -> None:
    """In the first sweep: 4 dB are found when it has been recorded, 12 dB are over any peak that was expected."""
    cards = card(turned_db=turned_db, turned_after_s=0.5)
    folder = session(tmp_path, "82,92")
    ending = distort("measure", folder, "--yes", *CARDS)
    assert ending.status == 1
    assert recorded(folder) == kept
    if kept:
        assert "default/sweep_82dB came out 4.0 dB louder about" in ending.err
    else:
        assert "default/sweep_82dB: the microphone heard a peak above" in ending.err
        turned = np.flatnonzero(np.abs(cards.played) > LOUD)[round(0.5 * RATE)]
        silent = np.flatnonzero(np.abs(cards.played) > 1e-4)[-1]
        # the block in which it is turned and the one after it, 4 ms of the sound's way, and the fade
        assert turned < silent < turned + 3 * BLOCK + round(FADE_S * RATE)
    # 82 dB SPL takes a drive of -23.9 dBFS, 92 would take ten more
    assert np.max(np.abs(cards.played)) < 10.0 ** (-23.8 / 20.0)


@pytest.mark.study
def test_the_ladder_ends_where_the_loudspeaker_stands_still(tmp_path, distort, card) -> None:
    """A limiter holds it at an amplitude of 0.02, which is 72 dB SPL: 82 and 88 dB SPL come out like 76."""
    cards = card(limit=0.02)
    folder = session(tmp_path, "76,82,88,94")
    said = distort.done("measure", folder, "--yes", *CARDS)
    assert "default: the level series ends at 88 dB SPL. In the octave about" in said
    assert "from 76 dB SPL on, while the drive rose by 12.0 dB: the loudspeaker limits." in said
    assert recorded(folder) == {f"{name}_{level}dB" for name in ("sweep", "multitone") for level in (76, 82, 88)}
    until_now = cards.played.size
    assert "the level series ends at 88 dB SPL" in distort.done("measure", folder, "--yes", *CARDS)
    assert cards.played.size == until_now


@pytest.mark.parametrize("gap_samples", [0, 480])
def test_a_gap_that_nobody_told_is_found_in_the_recording_and_the_take_made_again(
    tmp_path, distort, card, gap_samples
) -> None:
    """Some sound systems put silence in where a buffer ran out and raise no flag: then the chirps are too far apart."""
    cards = card(gap_samples=gap_samples)
    folder = session(tmp_path, "82")
    distort.done("measure", folder, "--yes", *CARDS, "--only", "sweep_82dB")
    loud_s = np.count_nonzero(np.abs(cards.played) > LOUD) / RATE
    takes = 2 if gap_samples else 1
    # a tone at an amplitude of 0.064 passes 0.02 for four fifths of its time: here 1.2 s of a sweep of 1.5 s
    assert takes == round(loud_s / 1.2)
    kept = json.loads((folder / "recordings/default/sweep_82dB.json").read_text(encoding="utf-8"))
    assert kept["clock_difference_ppm"] == pytest.approx(0.0, abs=1.0)
