"""Brings in recordings of the session's own stimuli that were made elsewhere."""

from pathlib import Path

from distort.capture.examined import examine
from distort.errors import SessionError
from distort.session.audio import read_audio
from distort.session.calibration_file import read_calibration
from distort.session.folder import SessionFolder
from distort.session.hashing import sha256_of_file
from distort.session.names import RecordingName
from distort.session.plan import Plan
from distort.session.recordings import Recording, bring_in_recording, load_recordings
from distort.session.resampling import resample
from distort.session.sidecar import Sidecar, now_utc
from distort.session.stimulus_files import read_stimulus


def add(
    folder: SessionFolder,
    plan: Plan,
    source: Path,
    *,
    stimulus_name: str,
    level_db_spl: float,
    condition: str,
    turned_db: float | None,
    channel: int | None,
    repositioned: bool = False,
) -> Recording:
    """Find the stimulus in the audio file `source`, check it, and copy it into the session with its sidecar.

    turned_db     how far the volume was turned up since the first recording; None: nobody said
    channel       of the file, counted from 1; None: it has only one
    repositioned  the microphone or the loudspeaker was set up anew since the take before it

    A recording at another sample rate is kept as it is and resampled to be looked at. Raises RecordingError when it is
    not to be trusted, SessionError when the stimulus is not one of the session's or the recording is there already.
    """
    stimulus = read_stimulus(folder, stimulus_name, level_db_spl)
    samples, sample_rate = read_audio(source, channel=channel)
    _refuse_twice(folder, source, condition)
    at_rate = resample(samples, from_rate=sample_rate, to_rate=stimulus.sample_rate)
    examined = examine(at_rate, stimulus.reel, what=str(source), as_stored=samples, stated_hz=sample_rate)
    name = folder.next_take(condition, RecordingName(stimulus=stimulus_name, level_db_spl=level_db_spl))
    calibration = read_calibration(folder.calibration_path())
    sidecar = Sidecar(
        stimulus_name=name.stimulus,
        level_db_spl=level_db_spl,
        condition=condition,
        take=name.take,
        after=False,
        drive_dbfs=stimulus.drive_dbfs,
        stimulus=stimulus.stimulus,
        reel=stimulus.reel,
        stimulus_start_sample=examined.alignment.stimulus_start * sample_rate / stimulus.sample_rate,
        sample_rate=sample_rate,
        channel=channel or 1,
        turned_db=turned_db,
        calibration=None if calibration is None else calibration.in_force(),
        loudspeaker=plan.loudspeaker,
        setup=plan.setup,
        date=now_utc(),
        rest_s=None,
        clock_difference_ppm=examined.clock_difference_ppm(),
        device=f"recorded elsewhere ({source.name})",
        simulated=False,
        stimulus_sha256=stimulus.sha256,
        recording_sha256="0" * 64,  # set when it is saved
        quality=examined.for_sidecar(),
        repositioned=repositioned,
    )
    return bring_in_recording(folder, source, sidecar)


def _refuse_twice(folder: SessionFolder, source: Path, condition: str) -> None:
    """The same file brought in twice would count as two takes of no noise between them."""
    digest = sha256_of_file(source)
    for one in load_recordings(folder, condition):
        if one.sidecar.recording_sha256 == digest:
            raise SessionError(f"{source} is in the session already, as {one.files.audio_path}")
