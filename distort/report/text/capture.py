"""What is said about sound cards, a calibration, and recordings as they are made or brought in."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from distort.capture.calibration.calibrator import CalibratorReading
from distort.capture.devices.sound_systems import CardInfo
from distort.capture.importing.sweep_fitting import FittedSweep
from distort.recording.clocks import REST_BEFORE_DRIFT_S, clock_of
from distort.report.text.numbers import hertz_words, level_name
from distort.session.audio.original import Original
from distort.session.calibration.calibration_file import STEADY_DAY_DB, ClosingCalibration, MicrophoneCalibration
from distort.session.recordings.stimulus_files import LeftOut
from distort.session.recordings.stored import Recording


def calibration_sentences(reading: CalibratorReading, *, db_spl: float) -> Iterator[str]:
    """What the calibrator's recording said, what full scale stands for, and every warning."""
    start_s, end_s = reading.steady_s
    yield (
        f"Tone of {reading.frequency_hz:.1f} Hz at {reading.calibrator_dbfs:.2f} dBFS, steady within "
        f"{reading.stability_db:.2f} dB from {start_s:.1f} to {end_s:.1f} s, "
        f"harmonics {reading.harmonic_percent:.2f} %."
    )
    yield f"The calibrator gives {db_spl:g} dB SPL, so full scale stands for {reading.spl_of_full_scale:.1f} dB SPL."
    yield from (f"Careful: {warning}" for warning in reading.warnings)


def since_last_sentences(reading: CalibratorReading, last: MicrophoneCalibration) -> Iterator[str]:
    """By how much a new calibration differs from the one that it replaces."""
    moved_db = last.spl_of_full_scale - reading.spl_of_full_scale
    yield (
        f"It replaces the calibration of {last.date}; the same sound reads {moved_db:+.2f} dB against that one. "
        f"Recordings made before keep the calibration that they were made with."
    )


def microphone_sentences(*, used: str, calibrated: MicrophoneCalibration) -> Iterator[str]:
    """A caution when the calibrator was heard live on another input than the one that is `used`; else nothing."""
    if calibrated.live and calibrated.device != used:
        yield (
            f"Careful: the calibrator was heard on {calibrated.device}, and you record {used}. Levels hold only if "
            f"both have the same gain."
        )


def closing_sentences(closing: ClosingCalibration) -> Iterator[str]:
    """How far the level drifted over the work, and what that means."""
    yield (
        f"Drift since the calibration of {closing.opening.date}: the same sound reads {closing.drift_db:+.2f} dB now."
    )
    if closing.steady:
        yield f"That is within {STEADY_DAY_DB:g} dB: the levels of the day stand. The calibration is unchanged."
        return
    yield (
        f"Careful: that is more than {STEADY_DAY_DB:g} dB, so every level of the day is uncertain by it. Seat the "
        f"microphone firmly, check battery and gain, and close again; if it stays, calibrate anew and measure again."
    )


def quality_sentences(name: str, *, verdict: str, sentences: Iterable[str]) -> Iterator[str]:
    """One recording: its verdict, and under it a sentence for everything that was found."""
    yield f"{name}: {verdict}"
    yield from (f"  {sentence}" for sentence in sentences)


def fault_sentences(condition: str, fault: str | None) -> Iterator[str]:
    """What the simulated loudspeaker has in a condition; nothing where it is whole."""
    if fault is not None:
        yield f"In the condition {condition} the simulated loudspeaker has {fault}."


def recorded_sentences(condition: str, recordings: tuple[Recording, ...], *, ended: bool = False) -> Iterator[str]:
    """What was recorded or brought in, one line each, with what the check found.

    ended   the ladder ends below the plan's highest level, so that not everything is there
    """
    if not recordings and not ended:
        yield f"{condition}: everything the plan asks for is recorded already."
    for recording in recordings:
        quality = recording.sidecar.quality
        name = f"{condition}/{recording.sidecar.name.stem}"
        yield from quality_sentences(name, verdict=quality.verdict, sentences=quality.findings)


def original_sentences(recording: Recording) -> Iterator[str]:
    """When it was recorded by its recorder's clock; nothing where its file does not say."""
    original = recording.sidecar.original
    if original is not None and original.began is not None:
        yield f"  Recorded {recorder_moment(original)}."


def recorder_moment(original: Original) -> str:
    """When a file says that it began, and by what."""
    return f"{original.began} by the recorder's own clock ({original.began_from})"


def rest_sentences(recordings: Sequence[Recording]) -> Iterator[str]:
    """What the repeats of the lowest level can show, by the rest before each; `recordings` are all of a condition."""
    clock = clock_of(recordings)
    for one in recordings:
        if not one.sidecar.after or one.sidecar.rejected is not None:
            continue
        rest_s = clock.rest_s(one)
        if rest_s is None:
            yield (
                f"Careful: {one.sidecar.name.stem} shows neither drift nor residual heating, because nobody knows how "
                f"long the loudspeaker rested before it: that takes a date and time of one recorder's clock in every "
                f"file of the condition, one recording after another."
            )
            continue
        shows = "drift" if rest_s >= REST_BEFORE_DRIFT_S else "residual heating"
        yield f"The loudspeaker rested {rest_s:.0f} s before {one.sidecar.name.stem}: it shows {shows}."


def fitted_sentences(name: str, fitted: FittedSweep) -> Iterator[str]:
    """What sweep a file holds, and how well it is one."""
    sweep = fitted.sweep
    yield (
        f"{name}: an exponential sweep from {sweep.start_hz:.3g} Hz to {hertz_words(sweep.stop_hz)} in "
        f"{sweep.duration_s:.2f} s, drive {sweep.drive_dbfs:.1f} dBFS, at full level from {sweep.full_level_hz:.3g} "
        f"Hz. The fit leaves {fitted.residual_db:.0f} dB of it; the analysis divides by the file's own samples."
    )


def left_out_sentences(left_out: Sequence[LeftOut]) -> Iterator[str]:
    """What is not played at some levels, and why; nothing where all is."""
    for one in left_out:
        named = ", ".join(level_name(level) for level in one.levels_db_spl)
        if one.too_loud:
            yield (
                f"No {one.kind.name} at {named} dB SPL: its loudest moment would pass [safety] ceiling_db_spl of "
                f"session.toml, though its mean does not."
            )
        else:
            yield (
                f"No {one.kind.name} at {named} dB SPL: its peak would pass digital full scale. Turn the loudspeaker "
                f"up, or {one.kind.lower_peak}."
            )


def card_sentences(cards: Sequence[CardInfo], rates_hz: Mapping[int, Sequence[int]]) -> Iterator[str]:
    """Every sound card: number, name, host API, channels, and the rates, by its number, that it takes now."""
    for card in cards:
        defaults = [
            way for way, chosen in (("output", card.is_default_output), ("input", card.is_default_input)) if chosen
        ]
        mark = f", default {' and '.join(defaults)}" if defaults else ""
        yield (
            f"{card.number}: {card.name} ({card.host_api}), outputs {card.outputs}, inputs {card.inputs}, "
            f"{_rates(rates_hz[card.number])}{mark}"
        )


def _rates(rates_hz: Sequence[int]) -> str:
    return f"{' '.join(map(str, rates_hz))} Hz" if rates_hz else "no common rate now, as when another program holds it"
