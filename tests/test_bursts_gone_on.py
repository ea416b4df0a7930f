"""A burst series that is gone on with: only from what the loudspeaker, the plan and the drives still are."""

from dataclasses import replace

import pytest
import scipy

from distort.analysis.burst_series.steps import CEILING, Band, next_step
from distort.capture.bursts.playing import play_bursts
from distort.capture.bursts.starting import BurstsReady, get_ready_for_bursts
from distort.capture.bursts.tops import chirps_below_ceiling
from distort.capture.measuring.playing import measure
from distort.capture.measuring.starting import Choice
from distort.errors import SessionError, TooLoudError, UsageError
from distort.session.files.folder import SessionFolder
from distort.session.files.names import RecordingName
from distort.session.plan.reading import read_plan
from distort.session.recordings.sidecar import read_sidecar, write_sidecar
from tests.clumsy_session import CommandLine
from tests.devices.scaled import ScaledLoudspeaker
from tests.session_on_a_wire import session_on_a_wire

BURSTS = "\n[burst]\nlowest_hz = 250\nhighest_hz = 500\ngap_s = 0.2\n"


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def folder(tmp_path, distort) -> SessionFolder:
    return session_on_a_wire(tmp_path / "monitor", distort, section=BURSTS)


def recorded(folder: SessionFolder, device: ScaledLoudspeaker, *names: str) -> None:
    plan = read_plan(folder.root)
    for name in names:
        measure(folder, plan, device, Choice(condition="default", only=name), progress=lambda what, done, total: None)


def get_ready(folder: SessionFolder, device: ScaledLoudspeaker) -> BurstsReady:
    return get_ready_for_bursts(folder, read_plan(folder.root), device, "default")


class PeakingLoudspeaker(ScaledLoudspeaker):
    """`peak` times a resonance at 300 Hz (gain 1 there, closed form) is added to what is played."""

    peak = 0.0

    def play_and_record(self, playback, *, sample_rate, guard=None):
        numerator, denominator = scipy.signal.iirpeak(300.0, 2.0, fs=sample_rate)
        boosted = playback + self.peak * scipy.signal.lfilter(numerator, denominator, playback)
        return super().play_and_record(boosted, sample_rate=sample_rate, guard=guard)


@pytest.mark.sample
def test_nothing_is_played_after_a_burst_that_came_out_too_loud(folder) -> None:
    """It was said once, and is said again until that recording is rejected: also where a killed program said nothing.
    82 dB SPL are driven at -38 dBFS on a wire of 120 dB SPL: from -40 on this one gives 4 dB more."""
    device = ScaledLoudspeaker(change_db=lambda peak_dbfs: 4.0 if peak_dbfs > -40.0 else 0.0)
    recorded(folder, device, "sweep_70dB")
    with pytest.raises(TooLoudError, match=r"came out 4\.0 dB louder"):
        recorded(folder, device, "burst_82dB")
    played = len(device.played)
    with pytest.raises(TooLoudError, match=r"default/burst_82dB came out 4\.0 dB louder .* reject that recording"):
        get_ready(folder, device)
    assert len(device.played) == played
    path = folder.recording("default", RecordingName(stimulus="burst", level_db_spl=82.0), ".flac").sidecar_path
    write_sidecar(path, replace(read_sidecar(path), stopped=None))
    with pytest.raises(TooLoudError, match=r"default/burst_82dB is 4\.0 dB louder about .* reject that recording"):
        get_ready(folder, device)
    assert len(device.played) == played + 2  # the noise that wakes it, and the quiet sweep


@pytest.mark.sample
def test_a_loudspeaker_that_became_louder_in_one_third_octave_is_told(folder) -> None:
    """1 + 0.585 is 4 dB at 300 Hz; the band's mean, by which the drives are held, rises by far less than 3 dB."""
    device = PeakingLoudspeaker()
    recorded(folder, device, "sweep_70dB", "burst_70dB")
    device.peak = 0.4  # 2.9 dB: 3 are allowed
    assert get_ready(folder, device) is not None
    device.peak = 0.585
    with pytest.raises(TooLoudError, match=r"dB louder about 3.. Hz than in its recordings"):
        get_ready(folder, device)


@pytest.mark.sample
def test_a_file_that_may_have_been_played_on_a_player_is_not_replaced_by_what_is_played_live(folder, distort) -> None:
    """The file of the quietest bursts, of a plan of fewer bands: its recording may still come."""
    device = ScaledLoudspeaker()
    recorded(folder, device, "sweep_70dB")
    path = folder.root / "session.toml"
    plan = path.read_text()
    path.write_text(plan.replace("highest_hz = 500", "highest_hz = 400"))
    distort.done("stimuli", folder.root, "--next-burst")
    file = folder.root / "stimuli/burst_70dB.wav"
    before = file.read_bytes()
    path.write_text(plan)
    ready = get_ready(folder, device)
    played = len(device.played)
    with pytest.raises(SessionError, match=r"burst_70dB\.wav holds other bursts .* else move it away"):
        play_bursts(folder, read_plan(folder.root), device, ready, progress=lambda what, done, total: None)
    assert (len(device.played), file.read_bytes()) == (played, before)


@pytest.mark.sample
def test_bursts_of_another_length_are_not_gone_on_from(folder, distort) -> None:
    """Twice as long a burst has 3 dB more energy: that hides the whole compression at which a band ends."""
    device = ScaledLoudspeaker()
    recorded(folder, device, "sweep_70dB", "burst_70dB")
    path = folder.root / "session.toml"
    path.write_text(f"{path.read_text()}periods = 13\n")
    with pytest.raises(UsageError, match=r"burst_70dB has bursts of 6\.5 periods, and \[burst\] periods is 13 now"):
        get_ready(folder, device)
    said = distort.refused("stimuli", folder.root, "--next-burst", inside=folder.root, status=2)
    assert "bursts of 6.5 periods" in said


def test_a_band_that_passed_a_limit_below_the_quietest_level_of_now_stays_ended() -> None:
    ended = Band(frequency_hz=100.0, drive_top_db_spl=110.0).told(80.0, fault=False).told(86.0, fault=True)
    fresh = Band(frequency_hz=125.0, drive_top_db_spl=110.0)
    assert next_step((ended, fresh), lowest_db_spl=86.0, references=0).bands == (0, 1)
    assert next_step((ended, fresh), lowest_db_spl=87.0, references=0).bands == (1,)
    assert next_step((ended,), lowest_db_spl=87.0, references=0) is None


def test_chirps_of_a_file_stay_under_the_ceiling_where_the_loudspeaker_is_loudest(folder) -> None:
    """They are 10 dB below a burst's drive. Where it gives 18 dB more than nominal, they reach the ceiling at a nominal
    level 8 dB below it; a band that ends below that by its drive is left as it is."""
    plan = read_plan(folder.root)
    ceiling_db_spl = plan.safety.ceiling_db_spl
    low, high = (Band(frequency_hz=at_hz, drive_top_db_spl=top) for at_hz, top in ((250.0, 90.0), (500.0, 120.0)))
    kept, lower = chirps_below_ceiling((low, high), (), plan, highest_db=18.0)
    assert kept == low
    assert lower.drive_top_db_spl == pytest.approx(ceiling_db_spl - 8.0)
    assert lower.drive_by == CEILING
    assert chirps_below_ceiling((low, high), (), plan) == (low, high)  # nothing is known of it
