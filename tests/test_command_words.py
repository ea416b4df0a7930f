"""The words of commands: what each takes, what it refuses, and what it prints."""

import argparse
import io
from dataclasses import dataclass
from pathlib import Path

import pytest

from distort.capture.calibration.calibrator import CalibratorReading
from distort.commands import add, analyze, calibrate, measure, stimuli, verify
from distort.commands.parser import Parser
from distort.errors import UsageError
from distort.report.terminal.console import make_console, say
from distort.report.text.capture import calibration_sentences, quality_sentences
from distort.report.text.published import reason_words
from distort.report.text.staleness import stale_clauses
from distort.report.text.verification import checks_table
from distort.session.published.frozen_differences import Reason, ValueChange
from distort.session.results.analysed import Staleness


def parse(module, *words: str) -> argparse.Namespace:
    parser = Parser(prog="distort")
    module.add_parser(parser.add_subparsers(dest="command", parser_class=Parser))
    return parser.parse_args([module.__name__.rsplit(".", 1)[1], *words])


def test_what_each_command_takes() -> None:
    assert parse(stimuli, "s").folder == Path("s")
    taken = parse(calibrate, "s", "--spl", "94", "--from", "c.wav", "--channel", "2", "--replace")
    assert (taken.spl, taken.source, taken.channel, taken.replace) == (94.0, Path("c.wav"), 2, True)
    taken = parse(measure, "s", "--simulate", "--condition", "desk", "--only", "sweep_96dB", "--again")
    assert (taken.simulate, taken.condition, taken.only, taken.again) == (True, "desk", "sweep_96dB", True)
    taken = parse(add, "s", "a.wav", "b.wav", "--stimulus", "sweep", "--level", "86", "--playback-change-db", "0")
    assert (taken.files, taken.stimulus, taken.level) == ([Path("a.wav"), Path("b.wav")], "sweep", 86.0)
    assert (taken.playback_change_db, taken.condition, taken.channel) == (0.0, None, None)
    assert parse(verify).command == "verify"


def test_what_nobody_said_is_not_made_up() -> None:
    assert parse(add, "s", "a.wav", "--stimulus", "sweep", "--level", "86").playback_change_db is None
    with pytest.raises(UsageError, match="--spl"):
        calibrate.run(parse(calibrate, "s", "--from", "c.wav"))
    with pytest.raises(UsageError, match="--level"):
        add.run(parse(add, "s", "a.wav", "--stimulus", "sweep"))


def test_a_negative_number_is_a_value_and_no_option() -> None:
    taken = parse(add, "s", "a.wav", "--stimulus", "sweep", "--level", "86", "--playback-change-db", "-6.5")
    assert taken.playback_change_db == -6.5


def test_analyze_wants_a_session_or_a_recording_with_its_stimulus(tmp_path) -> None:
    recording = tmp_path / "take.wav"
    recording.write_bytes(b"RIFF")
    analyze.check_words(parse(analyze, str(tmp_path)))
    analyze.check_words(parse(analyze, str(recording), "--stimulus", "sweep.json"))
    for words in (
        [str(recording)],
        [str(tmp_path), "--stimulus", "sweep.json"],
        [str(recording), "--stimulus", "sweep.json", "--condition", "desk"],
    ):
        with pytest.raises(UsageError):
            analyze.check_words(parse(analyze, *words))


def test_calibration_is_told_with_its_warnings() -> None:
    reading = CalibratorReading(
        calibrator_dbfs=-22.41,
        frequency_hz=1000.2,
        stability_db=0.03,
        harmonic_percent=0.4,
        spl_of_full_scale=116.41,
        steady_s=(0.4, 9.8),
        warnings=("Full scale is odd.",),
    )
    stream = io.StringIO()
    say(make_console(stream), *calibration_sentences(reading, db_spl=94.0))
    lines = stream.getvalue().splitlines()
    assert lines[0].startswith("Tone of 1000.2 Hz at -22.41 dBFS, steady within 0.03 dB from 0.4 to 9.8 s")
    assert lines[1] == "The calibrator gives 94 dB SPL, so full scale stands for 116.4 dB SPL."
    assert lines[2] == "Careful: Full scale is odd."


def test_quality_is_a_verdict_with_its_reasons() -> None:
    stream = io.StringIO()
    say(make_console(stream), *quality_sentences("desk/sweep_86dB", verdict="usable", sentences=["The peak is low."]))
    assert stream.getvalue() == "desk/sweep_86dB: usable\n  The peak is low.\n"


@dataclass(frozen=True)
class Made:
    name: str
    source: str
    error: float
    allowed: float
    unit: str
    passed: bool


def test_verify_says_in_words_what_passed() -> None:
    checks = [
        Made("third harmonic of a clipped sine", "Fourier series", 0.0012, 0.01, "dB", True),
        Made("second harmonic of a wire", "nothing may be there", 3.0, 0.01, "dB", False),
    ]
    stream = io.StringIO()
    make_console(stream).print(checks_table(checks))
    text = stream.getvalue()
    assert "\x1b" not in text
    lines = text.splitlines()
    assert lines[1].split()[-5:] == ["0.0012", "dB", "0.01", "dB", "passed"]
    assert lines[2].strip() == "Fourier series"
    assert lines[3].rstrip().endswith("FAILED")
    assert max(map(len, lines)) <= 80


def changed(**values: tuple[object, object]) -> tuple[ValueChange, ...]:
    return tuple(ValueChange(key=key, then=then, now=now) for key, (then, now) in values.items())


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        (Reason(of="a.json", how="gone"), "a.json is gone"),
        (Reason(of="a.json", how="new"), "a.json is new"),
        (Reason(of="a.wav", how="another file"), "a.wav is another file"),
        (Reason(of="a.toml", how="layout alone"), "a.toml: only its comments or its layout"),
        (
            Reason(of="a.toml", how="other values", values=changed(b=(None, "x"), c=([1], 2.5), d=(1, 2), e=(3, 4))),
            'a.toml: b was nothing, is "x"; c was [1], is 2.5; d was 1, is 2; and 1 more',
        ),
        (Reason(of="numpy", how="another version", values=changed(v=("1", "2"))), "numpy was 1, is 2"),
        (Reason(of="numpy", how="another version", values=changed(v=(None, "2"))), "numpy was not there, is 2"),
    ],
)
def test_what_changed_since_results_were_frozen_is_said(reason: Reason, said: str) -> None:
    assert reason_words(reason) == said


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (Staleness(), []),
        (Staleness(never_whole=True), ["no analysis of the whole session stands behind these results"]),
        (Staleness(changed=("a", "b", "c")), ["a and 2 more changed since these results were made"]),
        (
            Staleness(changed=("a",), edited=("b",), gone=("desk",)),
            [
                "a changed since these results were made",
                "b is not as it was written",
                "the recordings of desk are gone, and its results are all that is left",
            ],
        ),
    ],
)
def test_why_results_may_be_old_is_said(found: Staleness, said: list[str]) -> None:
    assert stale_clauses(found) == said
