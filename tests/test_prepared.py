"""A recorder whose clock differs: what is left of it once a session's recording is prepared."""

import numpy as np
import pytest

from distort.analysis.sweep.sweeps import Reference, Settings, SweepTake, read_sweep, sweep_harmonics, sweep_response
from distort.pipeline import analyze_file
from distort.recording.alignment.prepared import prepare
from distort.recording.quality.examined import examine
from distort.session.audio.audio_file import write_audio
from distort.session.files.folder import SessionFolder
from distort.session.recordings.stimulus_files import Planned, write_stimulus
from distort.session.recordings.stored import save_recording
from signals import Sweep, framed
from tests.made_recordings import recorded
from tests.session_examples import SIDECAR

SWEEP = Sweep(drive_dbfs=-20.0)
REEL = framed(SWEEP)


def curves(tmp_path, ppm):
    """Curves of the reel as a recorder `ppm` fast writes it, saved in a session and prepared from there."""
    samples = recorded(REEL, ppm=ppm)
    examined = examine(samples, REEL, what="take")
    sidecar = type(SIDECAR)(
        **{
            **vars(SIDECAR),
            "stimulus": SWEEP,
            "reel": REEL,
            "drive_dbfs": SWEEP.drive_dbfs,
            "stimulus_start_sample": examined.alignment.stimulus_start,
            "clock_difference_ppm": examined.clock_difference_ppm(),
        }
    )
    prepared = prepare(save_recording(SessionFolder(tmp_path / f"{ppm:g}"), samples, sidecar, suffix=".wav"))
    take = SweepTake(samples=prepared.samples, start=prepared.start)
    read = read_sweep([take], SWEEP, Settings())
    return sidecar.clock_difference_ppm, sweep_response(read, Reference()), sweep_harmonics(read, Reference())


@pytest.mark.first(1)
@pytest.mark.parametrize("ppm", [40.0, -120.0])
def test_a_clock_difference_is_found_and_repaired(tmp_path, ppm):
    """Noise-free: magnitudes within 0.01 dB and phases within 1.5 degrees of the same recording without it.

    Unrepaired, 100 ppm turn the phase at 20 kHz by more than a turn.
    """
    none, straight, _ = curves(tmp_path, 0.0)
    found, repaired, _ = curves(tmp_path, ppm)
    assert none == pytest.approx(0.0, abs=0.001)
    assert found == pytest.approx(ppm, abs=0.02)
    rows = (straight.frequency_hz > 24.9) & (straight.frequency_hz < 20000.0)
    assert np.max(np.abs(repaired.level_db - straight.level_db)[rows]) < 0.01
    turned = np.radians(repaired.phase_deg - straight.phase_deg)[rows]
    turned = np.unwrap(turned)
    hz = straight.frequency_hz[rows]
    delay = np.polyfit(hz, turned, 1)  # a constant delay is no error of the phase
    assert np.max(np.abs(np.degrees(turned - np.polyval(delay, hz)))) < 1.5


@pytest.mark.sample
def test_one_recording_without_a_session_is_repaired_as_well(tmp_path):
    """Phases as above; unrepaired, 120 ppm over the 10 s turn the phase at 20 kHz by 24 turns against that at 20 Hz."""
    folder = SessionFolder(tmp_path)
    write_stimulus(folder, Planned(stimulus_name="sweep", level_db_spl=86.0, stimulus=SWEEP))
    phases = []
    for ppm in (0.0, -120.0):
        write_audio(tmp_path / f"{ppm:g}.wav", recorded(REEL, ppm=ppm), 48000, subtype="FLOAT")
        read, _ = analyze_file(
            tmp_path / f"{ppm:g}.wav", tmp_path / "stimuli" / "sweep_86dB.json", settings=Settings(orders=2)
        )
        phases.append(sweep_response(read, Reference()).phase_deg)
    hz = sweep_response(read, Reference()).frequency_hz
    rows = (hz > 24.9) & (hz < 20000.0)
    turned = np.unwrap(np.radians(phases[1] - phases[0])[rows])
    delay = np.polyfit(hz[rows], turned, 1)  # a constant delay is no error of the phase
    assert np.max(np.abs(np.degrees(turned - np.polyval(delay, hz[rows])))) < 1.5
