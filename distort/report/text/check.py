"""What `distort check` and `distort show ... quality` say: what is there, what each is worth, and what to repeat."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from rich.table import Table

from distort.capture.measuring.completeness import Completeness, Wanted
from distort.recording.quality.check_result import RANK, CheckResult, Verdict, worst
from distort.report.text.afterwards import mended_words
from distort.report.text.alike import OF_THE_FIRST, alike, and_more
from distort.report.text.foreign import foreign_sentences
from distort.report.text.mended import unlike_sentences
from distort.report.text.plan import ended_sentence
from distort.session.files.names import RecordingName, format_level
from distort.session.plan.kinds import HEATING
from distort.session.recordings.stored import Recording
from distort.session.results.foreign_found import Foreign
from signals.levels import NOTHING_DB

NOTHING = Foreign()

NAME_COLUMNS, VERDICT_COLUMNS = 26, 8


def quality_blocks(
    condition: str,
    recordings: Sequence[Recording],
    *,
    beside: Mapping[str, Sequence[CheckResult]],
    foreign: Mapping[str, Foreign],
) -> Iterator[str | Table]:
    """Every recording of a condition with its verdict and the sentences of its check, rejected ones with why; then its
    figures.

    beside    what each says only beside others, by the name of its file
    foreign   what each holds that the loudspeaker did not make, likewise
    """
    table = Table(title=f"Condition {condition}", title_justify="left", box=None, pad_edge=False)
    table.add_column("Recording", width=NAME_COLUMNS, overflow="fold")
    table.add_column("Verdict", width=VERDICT_COLUMNS)
    table.add_column("What the check found", overflow="fold")
    for one in recordings:
        name = one.sidecar.name.stem
        table.add_row(name, *_verdict(one, beside.get(name, ()), foreign.get(name, NOTHING)))
    yield table
    yield ""
    for one in recordings:
        figures = [*_figures(one), *(found.sentence for found in beside.get(one.sidecar.name.stem, ()))]
        if figures:
            yield f"{one.sidecar.name.stem}: {' '.join(figures)}"
    yield ""


def _verdict(recording: Recording, beside: Sequence[CheckResult], foreign: Foreign) -> tuple[str, str]:
    """The worse of what the check said when it was made, and of what it says beside others."""
    sidecar = recording.sidecar
    quality = sidecar.quality
    doubts = [found for found in beside if found.verdict != "good"]
    mended = mended_words(sidecar.relabelled, sidecar.applied_afterwards)
    found = " ".join([*quality.findings, *(one.sentence for one in doubts), *foreign_sentences(foreign), *mended])
    if sidecar.rejected is not None:
        return "rejected", f"Rejected: {sidecar.rejected}. {found}".strip()
    heard: Verdict = "usable" if foreign.any else "good"
    return max(worst(tuple(doubts)), heard, quality.verdict, key=lambda one: RANK[one]), found


TOLD = {
    "level": "peak {value:.1f} dBFS",
    "clipping": "{value:.0f} samples clipped",
    "dc": "DC {value:.2g} %",
    "clock": "clock {value:+.3g} ppm",
    "gain": "gain between the chirps {value:+.2f} dB",
    "hum": "hum {value:.0f} dB re the stimulus",
}
"""Figures of the check and how they are written; no hum at all is left out."""


def _figures(recording: Recording) -> list[str]:
    """The figures that the sidecar keeps, in some sentences; none of a recording that an older version checked."""
    checks = {one.name: one for one in recording.sidecar.quality.checks}
    told = [
        how.format(value=checks[name].value)
        for name, how in TOLD.items()
        if name in checks
        and checks[name].value is not None
        and not (name == "hum" and checks[name].value == NOTHING_DB)
    ]
    sentences = [f"{', '.join(told)}."] if told else []
    for start, name in (
        ("snr_", "Signal to noise, dB"),
        ("noise_before_", "Noise before, dBFS"),
        ("noise_after_", "Noise after, dBFS"),
    ):
        octaves = [
            f"{one.name.removeprefix(start).removesuffix('hz')} Hz {one.value:.0f}"
            for one in checks.values()
            if one.name.startswith(start) and one.value is not None
        ]
        if octaves:
            sentences.append(f"{name}: {', '.join(octaves)}.")
    return sentences


def check_sentences(
    found: Completeness,
    *,
    folder: str,
    condition: str | None = None,
    foreign: Sequence[tuple[Recording, Foreign]] = (),
) -> Iterator[str]:
    """What is missing, damaged, uncalibrated or doubtful, each with what to do, and the answer in one line.

    condition   that was looked at alone; None: the whole session
    foreign     what the recordings hold that the loudspeaker did not make, each with its recording
    """
    measure = f"distort measure {folder}{' --simulate' if found.simulated else ''}"
    yield from _wanted_sentences(found, measure=measure, folder=folder)
    for name, ended in found.ended.items():
        yield ended_sentence(name, ended)
    for sentence in found.damaged:
        yield f"Damaged: {sentence}. Bring back the original, or reject it and record another take."
    yield from _calibration_sentences(found, folder=folder)
    yield from unlike_sentences(found.unlike, folder=folder)
    doubts_told = [(one, " ".join(one.sidecar.quality.findings)) for one in found.doubtful]
    doubts_told += [(recording, " ".join(foreign_sentences(held))) for recording, held in foreign]
    for group in alike(doubts_told, lambda doubt: doubt[1]):
        repeated = next((one for one, _ in group if one not in found.beside), None)
        again = None if repeated is None else _repeated(found, repeated, measure=measure, folder=folder)
        yield _doubt_sentence([_name(one) for one, _ in group], group[0][1], again=again)
    yield from _beside_sentences(found)
    if found.complete:
        doubts = f", {len(found.doubtful)} of them to be used with caution" if found.doubtful else ""
        asked = "the plan" if condition is None else f"condition {condition}"
        yield f"You may pack up: all {found.recorded} recordings of {asked} are there{doubts}."
    else:
        yield f"Not finished: {_count(found)}."


def _doubt_sentence(names: Sequence[str], said: str, *, again: str | None) -> str:
    """What is doubtful of one recording, or of several alike by the words of the first; `again` repeats the first."""
    many = len(names) > 1
    parts = [f"Doubtful: {and_more(names)}: {said}"]
    if many:
        parts.append(OF_THE_FIRST)
    if again is not None:
        parts.append(f"To repeat {'the first' if many else 'it'}: {again}")
    return " ".join(parts)


def _beside_sentences(found: Completeness) -> Iterator[str]:
    for condition in found.sweeps_elsewhere:
        yield (
            f"The sweeps of {condition} were made by another program, so nothing but sweeps is asked for there, at the "
            f"levels of the plan."
        )
    if found.beside:
        named = ", ".join(map(_name, found.beside))
        are = "it is" if len(found.beside) == 1 else "they are"
        yield f"The plan does not ask for {named}: {are} analysed all the same."


def _repeated(found: Completeness, recording: Recording, *, measure: str, folder: str) -> str:
    """The command that records or brings in another take of a recording."""
    sidecar = recording.sidecar
    if sidecar.made_elsewhere:
        return _add(found, folder, sidecar.condition, sidecar.name)
    return _again(measure, sidecar.condition, sidecar.name)


def _wanted_sentences(found: Completeness, *, measure: str, folder: str) -> Iterator[str]:
    for one in found.wanted:
        if one.why == "rejected":
            yield (
                f"Rejected without a replacement: {one.condition}/{one.name.stem}: {one.reason}. "
                f"To repeat it: {_again(measure, one.condition, one.name)}; "
                f"or bring another take in: {_add(found, folder, one.condition, one.name)}"
            )
    for condition in dict.fromkeys(one.condition for one in found.wanted):
        missing = [one.name.stem for one in found.wanted if one.condition == condition and one.why == "missing"]
        if missing:
            yield (
                f"Missing in {condition}: {', '.join(missing)}. "
                f"To record them: {measure} --condition {condition}; "
                f"or bring them in with distort add{_as_after(found)}"
            )


def _calibration_sentences(found: Completeness, *, folder: str) -> Iterator[str]:
    if found.calibration is None:
        yield (
            f"Uncalibrated: no calibrator was recorded, so no sound pressure level is known. Before you change any "
            f"gain: distort calibrate {folder} --spl 94 --from CALIBRATOR.wav"
        )
    if found.calibration is not None and found.uncalibrated:
        named = ", ".join(_name(one) for one in found.uncalibrated)
        yield (
            f"Uncalibrated: {named} saved before the calibration: if no gain changed since, say so: "
            f"distort calibrate {folder} --apply-to-earlier"
        )
    if found.calibration is not None and found.closing is None:
        yield (
            f"Recommended: record the calibrator once more, and say how far the level drifted: "
            f"distort calibrate {folder} --spl {found.calibration.calibrator_db_spl:g} --from FILE --post-check"
        )
    if found.closing is not None:
        doubt = "" if found.closing.steady else ". Careful: every level of the day is uncertain by it"
        yield f"Drift over the day, by the calibrator: {found.closing.drift_db:+.2f} dB{doubt}."


def _name(recording: Recording) -> str:
    return f"{recording.sidecar.condition}/{recording.sidecar.name.stem}"


def _again(measure: str, condition: str, name: RecordingName) -> str:
    if name.stimulus == HEATING:
        return f"{measure} --condition {condition} --heating {format_level(name.level_db_spl)}"
    return f"{measure} --condition {condition} --only {replace(name, take=1).stem} --again"


def _add(found: Completeness, folder: str, condition: str, name: RecordingName) -> str:
    elsewhere = condition in found.sweeps_elsewhere
    stimulus = "--stimulus-file SWEEP" if elsewhere else f"--stimulus {name.stimulus}"
    after = " --after" if name.after else ""
    level = format_level(name.level_db_spl)
    return f"distort add {folder} FILE {stimulus} --level {level} --condition {condition}{after}"


def _as_after(found: Completeness) -> str:
    """How the repeats of the lowest level are brought in, where some are missing."""
    if not any(one.name.after and one.why == "missing" for one in found.wanted):
        return ""
    return ", those whose name ends in _after with --after: the lowest sweep once more, at once and after a minute"


def _count(found: Completeness) -> str:
    def number(wanted: Sequence[Wanted], why: str) -> int:
        return sum(one.why == why for one in wanted)

    counts = {
        "missing": number(found.wanted, "missing"),
        "rejected without a replacement": number(found.wanted, "rejected"),
        "damaged": len(found.damaged),
        f"{'pair' if len(found.unlike) == 1 else 'pairs'} of takes that differ": len(found.unlike),
        "uncalibrated": len(found.uncalibrated),
    }
    said = ", ".join(f"{count} {what}" for what, count in counts.items() if count)
    return said or "no calibration"
