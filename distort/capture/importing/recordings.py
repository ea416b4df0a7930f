"""Brings in recordings of the session's own stimuli that were made elsewhere."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from distort.capture.importing.calibrator_tone import or_a_calibrator
from distort.capture.importing.sweep_fitting import FittedSweep, fit_sweep
from distort.errors import RecordingError, SessionError, WrongStimulusError
from distort.recording.quality.examined import Examined, examine
from distort.session.audio.audio_file import read_audio
from distort.session.audio.long_recording import open_long
from distort.session.audio.original import Original, elsewhere, original_of
from distort.session.audio.resampling import resample
from distort.session.calibration.calibration_file import read_calibration
from distort.session.files.folder import SessionFolder
from distort.session.files.moments import now_utc
from distort.session.files.names import RecordingName
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import SWEEP
from distort.session.recordings.pieces import give_piece
from distort.session.recordings.sampled_stimuli import keep_stimulus_file
from distort.session.recordings.sidecar import Sidecar, read_stimulus_sidecar
from distort.session.recordings.stimulus_files import read_stimulus, stimulus_sidecars
from distort.session.recordings.stored import Recording, bring_in_recording, load_recordings
from signals import Reel, Stimulus

FloatArray = npt.NDArray[np.float64]


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
    after: bool = False,
    keep_metadata: bool = False,
) -> Recording:
    """Find the stimulus in the audio file `source`, check it, and copy its sound into the session with its sidecar.

    turned_db     how far the volume was turned up since the first recording; None: nobody said
    channel       of the file, counted from 1; None: it has only one
    repositioned  the microphone or the loudspeaker was set up anew since the take before it
    after         it is the lowest level again, played after the others
    keep_metadata keep the file byte for byte, and its name in the sidecar; else its samples alone

    A recording at another sample rate is kept so and resampled to be looked at. Raises RecordingError when it is
    not to be trusted, SessionError when the stimulus is not one of the session's or the recording is there already.
    """
    stimulus = read_stimulus(folder, stimulus_name, level_db_spl)
    samples, sample_rate = read_audio(source, channel=channel)
    original = _of_a_new_file(folder, source, condition, keep_metadata=keep_metadata)
    at_rate = resample(samples, from_rate=sample_rate, to_rate=stimulus.sample_rate)
    try:
        examined = examine(
            at_rate,
            stimulus.reel,
            what=str(source),
            as_stored=samples,
            stated_hz=sample_rate,
            microphone=plan.hears_a_room(condition),
        )
    except RecordingError as error:
        told = or_a_calibrator(error, samples, sample_rate, source=source, session=folder.root)
        if isinstance(told, WrongStimulusError):
            told = naming_what_it_holds(folder, samples, sample_rate, error=told, not_this=stimulus_name)
        raise told from error
    name = RecordingName(stimulus=stimulus_name, level_db_spl=level_db_spl, after=after)
    sidecar = sidecar_elsewhere(
        folder,
        plan,
        Elsewhere(
            name=folder.next_take(condition, name),
            condition=condition,
            stimulus=stimulus.stimulus,
            reel=stimulus.reel,
            stimulus_sha256=stimulus.sha256,
            sample_rate=sample_rate,
            channel=channel or 1,
            device=elsewhere(named=source.name if keep_metadata else None),
            turned_db=turned_db,
            repositioned=repositioned,
            original=original,
        ),
        examined,
    )
    return bring_in_recording(folder, source, sidecar, keep_metadata=keep_metadata)


def add_with_sweep(
    folder: SessionFolder,
    plan: Plan,
    source: Path,
    *,
    stimulus_file: Path,
    level_db_spl: float,
    condition: str,
    turned_db: float | None,
    channel: int | None,
    repositioned: bool = False,
    after: bool = False,
    keep_metadata: bool = False,
) -> tuple[Recording, FittedSweep]:
    """The same for a sweep that was made elsewhere: `stimulus_file` is what was played, its first channel.

    The sweep's parameters are fitted to the file, which is kept in stimuli/; the analysis divides by its samples.
    Raises RecordingError when it is no exponential sweep, and as `add` does.
    """
    with open_long(stimulus_file, channel=1) as file:
        rate = file.sample_rate
        fitted = fit_sweep(file.part(0, file.n_samples), rate, what=str(stimulus_file))
    samples, sample_rate = read_audio(source, channel=channel)
    original = _of_a_new_file(folder, source, condition, keep_metadata=keep_metadata)
    at_rate = resample(samples, from_rate=sample_rate, to_rate=rate)
    try:
        examined = examine(at_rate, fitted.reel, what=str(source), as_stored=samples, stated_hz=sample_rate)
    except RecordingError as error:
        raise or_a_calibrator(error, samples, sample_rate, source=source, session=folder.root) from error
    stimulus = keep_stimulus_file(folder, stimulus_file, keep_metadata=keep_metadata)
    name = RecordingName(stimulus=SWEEP, level_db_spl=level_db_spl, after=after)
    made = Elsewhere(
        name=folder.next_take(condition, name),
        condition=condition,
        stimulus=fitted.sweep,
        reel=fitted.reel,
        stimulus_sha256=stimulus.sha256,
        stimulus_original_sha256=stimulus.original_sha256,
        sample_rate=sample_rate,
        channel=channel or 1,
        device=elsewhere(named=f"{source.name}, of the sweep {stimulus_file.name}" if keep_metadata else None),
        turned_db=turned_db,
        repositioned=repositioned,
        original=original,
    )
    sidecar = sidecar_elsewhere(folder, plan, made, examined)
    return bring_in_recording(folder, source, sidecar, keep_metadata=keep_metadata), fitted


@dataclass(frozen=True, kw_only=True)
class Elsewhere:
    """What is known of a recording that was made elsewhere, beside what the check of it finds."""

    name: RecordingName
    condition: str
    stimulus: Stimulus
    reel: Reel
    stimulus_sha256: str
    sample_rate: int
    channel: int
    device: str
    turned_db: float | None
    original: Original
    date: str | None = None
    """When it was made, by this computer's clock; None: now."""
    rest_s: float | None = None
    repositioned: bool = False
    """The microphone or the loudspeaker was set up anew since the take before it."""
    stimulus_original_sha256: str | None = None


def sidecar_elsewhere(folder: SessionFolder, plan: Plan, made: Elsewhere, examined: Examined) -> Sidecar:
    """The sidecar of a recording that was made elsewhere; its own hash is set when it is saved."""
    calibration = read_calibration(folder.calibration_path())
    return Sidecar(
        stimulus_name=made.name.stimulus,
        level_db_spl=made.name.level_db_spl,
        condition=made.condition,
        take=made.name.take,
        after=made.name.after,
        drive_dbfs=made.stimulus.drive_dbfs,
        stimulus=made.stimulus,
        reel=made.reel,
        stimulus_start_sample=examined.alignment.stimulus_start * made.sample_rate / made.reel.sample_rate,
        sample_rate=made.sample_rate,
        channel=made.channel,
        turned_db=made.turned_db,
        calibration=None if calibration is None else calibration.in_force(),
        loudspeaker=plan.loudspeaker,
        setup=plan.of(made.condition).setup,
        date=made.date or now_utc(),
        rest_s=made.rest_s,
        clock_difference_ppm=examined.clock_difference_ppm(),
        device=made.device,
        simulated=False,
        stimulus_sha256=made.stimulus_sha256,
        recording_sha256="0" * 64,
        quality=examined.for_sidecar(),
        repositioned=made.repositioned,
        original=made.original,
        stimulus_original_sha256=made.stimulus_original_sha256,
    )


def naming_what_it_holds(
    folder: SessionFolder, samples: FloatArray, sample_rate: int, *, error: WrongStimulusError, not_this: str
) -> WrongStimulusError:
    """`error` with the stimulus of the session that is in `samples` `(n,)` after all; as it is where none is."""
    tried: set[str] = {not_this}
    for path in stimulus_sidecars(folder):
        described = read_stimulus_sidecar(path)
        if described.stimulus_name in tried:
            continue  # another level of it sounds the same
        tried.add(described.stimulus_name)
        try:
            give_piece(folder, described.stimulus, played_for=described.file)
            at_rate = resample(samples, from_rate=sample_rate, to_rate=described.sample_rate)
            examine(at_rate, described.reel, what="it", microphone=False)
        except (RecordingError, SessionError):
            continue  # not this one either, or music that is not here
        name = described.stimulus_name
        return WrongStimulusError(f"{error} It holds the session's {name}: bring it in with --stimulus {name}.")
    return error


def _of_a_new_file(folder: SessionFolder, source: Path, condition: str, *, keep_metadata: bool) -> Original:
    """What is noted of `source`. Raises SessionError for a file that is in use already, in whatever way it came in.

    It would count as two takes of no noise between them. One that was rejected may come again, as something else.
    """
    original = original_of(source, kept=keep_metadata)
    for one in load_recordings(folder, condition):
        before = {one.sidecar.recording_sha256, one.sidecar.original and one.sidecar.original.sha256}
        if original.sha256 in before and one.sidecar.rejected is None:
            raise SessionError(f"{source} is in the session already, as {one.files.audio_path}")
    return original
