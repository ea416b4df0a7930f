"""Hiss of an active loudspeaker: a condition's sweeps and its silence with the loudspeaker off in, the result out."""

from distort.analysis.hiss import HissResult, hiss
from distort.analysis.sweep.sweeps import Settings
from distort.errors import AnalysisError
from distort.recording.alignment.prepared import prepare
from distort.recording.takes import Levels, reference_for
from distort.session.audio.resampling import resample
from distort.session.calibration.in_force import CalibrationInForce
from distort.session.recordings.condition import Recorded
from distort.session.recordings.silence_off import SilenceOff
from distort.session.recordings.stored import Recording

HISS = "hiss"
"""Its name among the results that have a table of their own."""


def hiss_of(recorded: Recorded, levels: Levels, settings: Settings) -> HissResult | None:
    """What the silences beside the sweeps have over those with the loudspeaker off; None where there are none of these,
    or too little silence beside the sweeps.

    Raises AnalysisError when none of the sweeps was made with the gain and distance of the silence, SessionError for a
    file that is another by now, RecordingError for audio that cannot be read.
    """
    off = [one for one in recorded.silences_off if one.sidecar.rejected is None]
    if not off:
        return None
    made_with = _off_with(off[-1])
    off = [one for one in off if _off_with(one) == made_with]
    sweeps = [one for takes in levels.sweeps.values() for one in takes]
    on = [one for one in sweeps if (one.sidecar.calibration, one.sidecar.setup.distance_m) == made_with]
    if not on:
        raise AnalysisError(_unlike(off[-1], sweeps[0]))
    rate = on[0].sidecar.stimulus.sample_rate
    on = [one for one in on if one.sidecar.stimulus.sample_rate == rate]
    return hiss(
        [silence for one in on for silence in prepare(one, repair=False).silences],
        [resample(one.samples(), from_rate=one.sidecar.sample_rate, to_rate=rate) for one in off],
        sample_rate=rate,
        microphone=settings.microphone,
        reference=reference_for(on),
    )


def _off_with(off: SilenceOff) -> tuple[CalibrationInForce | None, float]:
    """What a sweep must be made with to be held against it."""
    return off.sidecar.calibration, off.sidecar.distance_m


def _unlike(off: SilenceOff, sweep: Recording) -> str:
    apart = "calibration" if off.sidecar.calibration != sweep.sidecar.calibration else "distance"
    return (
        f"{off.audio_path} was brought in with another {apart} than the sweeps of {off.sidecar.condition} were "
        f"made with, so the noise of both cannot be held against one another: reject {off.named}, and record it again"
    )
