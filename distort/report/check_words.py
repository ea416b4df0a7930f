"""What `distort check` and `distort show ... quality` say: what is there, what each is worth, and what to repeat."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from rich.console import Console
from rich.table import Table

from distort.capture.completeness import Completeness, Wanted
from distort.report.console import say
from distort.report.plan_words import ended_sentence
from distort.session.names import RecordingName
from distort.session.recordings import Recording

NAME_COLUMNS, VERDICT_COLUMNS = 26, 8


def print_qualities(console: Console, recordings: Mapping[str, Sequence[Recording]]) -> None:
    """Every recording of every condition with its verdict and the sentences of its check; rejected ones with why."""
    for condition, of_condition in recordings.items():
        table = Table(title=f"Condition {condition}", title_justify="left", box=None, pad_edge=False)
        table.add_column("Recording", width=NAME_COLUMNS, overflow="fold")
        table.add_column("Verdict", width=VERDICT_COLUMNS)
        table.add_column("What the check found", overflow="fold")
        for one in of_condition:
            table.add_row(one.sidecar.name.stem, *_verdict(one))
        console.print(table)
        console.print()


def _verdict(recording: Recording) -> tuple[str, str]:
    quality = recording.sidecar.quality
    found = " ".join(quality.findings)
    if recording.sidecar.rejected is not None:
        return "rejected", f"Rejected: {recording.sidecar.rejected}. {found}".strip()
    return quality.verdict, found


def print_check(console: Console, found: Completeness, *, folder: str) -> None:
    """What is missing, damaged, uncalibrated or doubtful, each with what to do, and the answer in one line."""
    measure = f"distort measure {folder}{' --simulate' if found.simulated else ''}"
    _print_wanted(console, found, measure=measure)
    for condition, ended in found.ended.items():
        say(console, ended_sentence(condition, ended))
    for sentence in found.damaged:
        say(console, f"Damaged: {sentence}. Bring back the original, or reject it and record another take.")
    _print_calibration(console, found, folder=folder)
    for one in found.doubtful:
        say(
            console,
            f"Doubtful: {_name(one)}: {' '.join(one.sidecar.quality.findings)} "
            f"To repeat it: {_again(measure, one.sidecar.condition, one.sidecar.name)}",
        )
    if found.complete:
        doubts = f", {len(found.doubtful)} of them to be read with care" if found.doubtful else ""
        say(console, f"You may pack up: all {found.recorded} recordings of the plan are there{doubts}.")
    else:
        say(console, f"Do not pack up yet: {_count(found)}.")


def _print_wanted(console: Console, found: Completeness, *, measure: str) -> None:
    for one in found.wanted:
        if one.why == "rejected":
            say(
                console,
                f"Rejected without a replacement: {one.condition}/{one.name.stem}: {one.reason}. "
                f"To repeat it: {_again(measure, one.condition, one.name)}",
            )
    for condition in dict.fromkeys(one.condition for one in found.wanted):
        missing = [one.name.stem for one in found.wanted if one.condition == condition and one.why == "missing"]
        if missing:
            say(
                console,
                f"Missing in {condition}: {', '.join(missing)}. "
                f"To record them: {measure} --condition {condition}; or bring them in with distort add",
            )


def _print_calibration(console: Console, found: Completeness, *, folder: str) -> None:
    if found.calibration is None:
        say(
            console,
            f"Uncalibrated: no calibrator was recorded, so no sound pressure level is known. Before you change any "
            f"gain: distort calibrate {folder} --spl 94 --from CALIBRATOR.wav",
        )
    if found.calibration is not None and found.uncalibrated:
        named = ", ".join(_name(one) for one in found.uncalibrated)
        say(
            console,
            f"Uncalibrated: {named} saved before the calibration: if the gain is the same, move them and their "
            f".json files out of the session, and bring them in again with distort add.",
        )
    if found.calibration is not None and found.closing is None:
        say(
            console,
            f"Not asked of you, but wise: record the calibrator once more, and say how far the level drifted: "
            f"distort calibrate {folder} --spl {found.calibration.calibrator_db_spl:g} --from FILE --closing",
        )
    if found.closing is not None:
        doubt = "" if found.closing.steady else ". Careful: every level of the day is uncertain by it"
        say(console, f"Drift over the day, by the calibrator: {found.closing.drift_db:+.2f} dB{doubt}.")


def _name(recording: Recording) -> str:
    return f"{recording.sidecar.condition}/{recording.sidecar.name.stem}"


def _again(measure: str, condition: str, name: RecordingName) -> str:
    return f"{measure} --condition {condition} --only {replace(name, take=1).stem} --again"


def _count(found: Completeness) -> str:
    def number(wanted: Sequence[Wanted], why: str) -> int:
        return sum(one.why == why for one in wanted)

    counts = {
        "missing": number(found.wanted, "missing"),
        "rejected without a replacement": number(found.wanted, "rejected"),
        "damaged": len(found.damaged),
        "uncalibrated": found.recorded if found.calibration is None else len(found.uncalibrated),
    }
    said = ", ".join(f"{count} {what}" for what, count in counts.items() if count)
    return said or "no calibration"
