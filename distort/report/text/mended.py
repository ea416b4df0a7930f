"""What is said when recordings are mended afterwards: given another name, or a calibration that came later."""

from collections.abc import Iterator, Sequence

from distort.capture.importing.expected_level import Unexpected
from distort.capture.reel.player_level import SweepLevel
from distort.report.text.capture import quality_sentences
from distort.report.text.numbers import level_name
from distort.report.text.reel import LEVEL_AS_NAMED_DB
from distort.session.recordings.silence_off import SilenceOff
from distort.session.recordings.stored import Recording
from distort.session.results.unlike_takes import UnlikeTakes


def relabelled_sentences(recording: Recording) -> Iterator[str]:
    """What a recording is called now, and what the check of it found."""
    sidecar = recording.sidecar
    last = sidecar.relabelled[-1]
    yield f"{last.before} is {sidecar.condition}/{sidecar.name.stem} from now on: {last.reason}"
    yield from quality_sentences(
        f"{sidecar.condition}/{sidecar.name.stem}", verdict=sidecar.quality.verdict, sentences=sidecar.quality.findings
    )


def moved_sentences(before: SilenceOff, now: SilenceOff) -> Iterator[str]:
    """What a silence with the loudspeaker off is called now, and why."""
    yield f"{before.named} is {now.named} from now on: {now.sidecar.moved[-1].reason}"


def frozen_with_sentences(labels: Sequence[str]) -> Iterator[str]:
    """Editions that rest on what was mended; nothing where there are none."""
    if labels:
        yield (
            f"Careful: what was frozen as {' and as '.join(labels)} rests on what it was before, and stays as it was "
            f"published; 'distort analyze' says what differs now. If the difference matters, publish a correction."
        )


def given_sentences(given: Sequence[Recording]) -> Iterator[str]:
    """Which recordings were given a calibration that came after them, and on whose word."""
    if not given:
        yield "Every recording has a calibration already, and keeps it."
        return
    names = ", ".join(f"{one.sidecar.condition}/{one.sidecar.name.stem}" for one in given)
    yield (
        f"The calibration is applied to {_counted(given)} made before it: {names}. By this you state that no "
        f"gain changed in between; sidecars, results and report say so."
    )


def earlier_sentences(earlier: Sequence[Recording], *, folder: str) -> Iterator[str]:
    """That recordings were saved before the calibration, and how to apply it to them; nothing where none was."""
    if earlier:
        yield (
            f"{_counted(earlier)} came before it, without a calibration. If no gain changed since, say so: "
            f"distort calibrate {folder} --apply-to-earlier"
        )


def _counted(recordings: Sequence[Recording]) -> str:
    return f"{len(recordings)} {'recording' if len(recordings) == 1 else 'recordings'}"


def levels_off_sentences(levels: Sequence[tuple[Recording, SweepLevel | None]]) -> Iterator[str]:
    """Sweeps that were not as loud as their names say, in one sentence; nothing where all were."""
    off = [
        f"{one.sidecar.condition}/{one.sidecar.name.stem} {abs(level.turn_db):.1f} dB "
        f"{'quieter' if level.turn_db > 0 else 'louder'}"
        for one, level in levels
        if level is not None and abs(level.turn_db) > LEVEL_AS_NAMED_DB
    ]
    if off:
        yield (
            f"Careful: not as loud at 1 m as their names say: {', '.join(off)}. Results state what was measured, "
            f"whatever the name."
        )


def unlike_sentences(unlike: Sequence[UnlikeTakes], *, folder: str) -> Iterator[str]:
    """Takes of one level that cannot both be of it, and what to do; nothing where all are alike."""
    yield from (f"Careful: {one.sentence} {one.to_mend(folder)}" for one in unlike)


def unexpected_sentences(found: Unexpected | None, *, folder: str) -> Iterator[str]:
    """A sweep that is not as loud as another level leads one to expect; nothing where it is, or nobody can tell."""
    if found is None:
        return
    sidecar = found.recording.sidecar
    name = f"{sidecar.condition}/{sidecar.name.stem}"
    level = level_name(sidecar.level_db_spl)
    asked = [f"is this the {level} dB file"]
    asked += ["was the volume turned"] if not found.volume_known else []
    asked += ["a limiter"] if found.by_db < 0.0 else []
    said = (
        f"Careful: {abs(found.by_db):.1f} dB {'louder' if found.by_db > 0 else 'quieter'} than {found.against.stem} "
        f"leads one to expect: {', or '.join(asked)}?"
    )
    if found.fits_db_spl is not None:
        true_level = level_name(found.fits_db_spl)
        said += f" If it is that of {true_level} dB: distort relabel {folder} {name} --level {true_level} --reason TEXT"
    yield said
