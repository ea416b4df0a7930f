"""A reel played to a recorder of another clock and rate gives the curves of `measure`, on the simulated loudspeaker."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.fft
import scipy.signal

from distort.capture.calibration.calibrating import calibrate_from_samples
from distort.capture.measuring.playing import measure
from distort.capture.measuring.starting import Choice
from distort.capture.reel.importing import add_reel
from distort.capture.reel.making import make_reel, write_reel
from distort.capture.simulated import Parameters, SimulatedMonitor
from distort.pipeline import analyze_condition
from distort.session.audio.audio_file import write_audio
from distort.session.calibration.drive_file import read_sensitivity
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.plan.template import plan_text, write_plan
from distort.session.recordings.stored import load_recordings
from tests.clumsy_session import shorten

pytestmark = pytest.mark.study

PPM = 87.0


def silent(*words):
    """Progress that nobody watches."""


def monitor():
    """Without any noise of room and microphone, and its converter used to the full: what is left are 24 bits."""
    table = Parameters()
    quiet = -200.0
    return SimulatedMonitor(
        parameters=replace(
            table,
            room=replace(table.room, noise_db_spl=quiet, hum_db_spl=(quiet,)),
            microphone=replace(
                table.microphone,
                noise_db_spl=quiet,
                calibrator_noise_db_spl=quiet,
                full_scale_db_spl=104.0,
                converter_bits=24,
            ),
        )
    )


def new_session(path):
    path.mkdir()
    write_plan(path, plan_text(name="Monitor A", levels_db_spl=(86.0,)))
    shorten(path, rest_s="5")
    folder = SessionFolder(path)
    calibrate_from_samples(folder, monitor().calibrator_recording(seconds=4.0), 48000, db_spl=94.0, device="simulated")
    return folder, read_plan(path)


def on_another_clock(samples):
    """At twice the rate, on a clock some 87 ppm fast: the periodic band-limited interpolation of a padded recording,
    which is exact (scipy.signal.resample), and owes nothing to this project's resamplers. Gives the ppm reached."""
    n_in = scipy.fft.next_fast_len(samples.size + 48000, real=True)
    n_out = round(2 * n_in * (1.0 + 1e-6 * PPM))
    padded = np.pad(samples, (0, n_in - samples.size))
    return np.asarray(scipy.signal.resample(padded, n_out)), 1e6 * (n_out / (2 * n_in) - 1.0)


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """Results of `measure`, those of the reel, the clock that was set and the one in the sidecars."""
    work = tmp_path_factory.mktemp("work")
    folder, plan = new_session(work / "cable")
    measure(folder, plan, monitor(), Choice(condition="default"), progress=silent)
    by_cable = analyze_condition(folder, plan, "default", progress=silent)
    other, plan = new_session(work / "reel")
    made = make_reel(plan, read_sensitivity(folder.calibration_path("drive.json")))
    write_reel(other, made)
    heard, ppm = on_another_clock(monitor().play_and_record(made.reel.samples(), sample_rate=48000))
    write_audio(work / "take.wav", -heard, 96000, subtype="FLOAT")
    add_reel(other, plan, work / "take.wav", condition="default", turned_db=None, channel=None, progress=silent)
    by_reel = analyze_condition(other, plan, "default", progress=silent)
    return by_cable, by_reel, ppm, load_recordings(other, "default")


def test_the_clock_is_found(both):
    _, _, ppm, recordings = both
    for one in recordings:
        assert one.sidecar.clock_difference_ppm == pytest.approx(ppm, abs=0.002)
        assert one.sidecar.sample_rate == 96000
        assert one.sidecar.turned_db == 0.0


def test_the_response_is_the_same(both):
    by_cable, by_reel, *_ = both
    cable, reel = by_cable.responses[0], by_reel.responses[0]
    rows = (cable.frequency_hz > 25.0) & (cable.frequency_hz < 20000.0)
    assert np.max(np.abs(reel.level_db - cable.level_db)[rows]) < 0.01
    turned = np.unwrap(np.radians(reel.phase_deg - cable.phase_deg)[rows])
    hz = cable.frequency_hz[rows]
    delay = np.polyfit(hz, turned, 1)  # a constant delay, and the half turn of the polarity, are no error
    assert np.max(np.abs(np.degrees(turned - np.polyval(delay, hz)))) < 1.5


def test_the_orders_are_the_same(both):
    """Wherever an order is above 8 dB SPL from 20 Hz: the steps of 24 bits (-146 dBFS, here -42 dB SPL) then move a
    reading by 0.003 dB, each of the two recordings alone."""
    by_cable, by_reel, *_ = both
    compared = 0
    for cable, reel in zip(by_cable.harmonics[0].orders, by_reel.harmonics[0].orders, strict=True):
        rows = np.isfinite(cable.level_db) & (cable.level_db > 8.0) & (by_cable.harmonics[0].frequency_hz >= 19.9)
        compared += int(np.sum(rows))
        if np.any(rows):
            assert np.max(np.abs(reel.relative_db - cable.relative_db)[rows]) < 0.01, cable.order
    print(f"{compared} readings compared")
    assert compared > 200
