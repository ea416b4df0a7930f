"""distort calibrate: sets the microphone's level from a calibrator, live or recorded, or closes the day with one."""

import argparse
from typing import TYPE_CHECKING

from distort.commands.listening import add_input_options, require_one_source
from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session
from distort.commands.values import channel, finite, path
from distort.errors import UsageError

if TYPE_CHECKING:
    from distort.capture.calibration.calibrator import CalibratorReading
    from distort.commands.listening import Heard
    from distort.session.calibration.calibration_file import ClosingCalibration
    from distort.session.files.folder import SessionFolder

LISTEN_S = 10.0
"""Three steady seconds are needed; ten show whether the calibrator is steady."""


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "calibrate",
        "set the microphone level from a calibrator",
        details="Put the calibrator on the microphone and switch it on, then give the command: it listens to the sound "
        "card, or reads a recording. Change no gain between it and the measurement.",
        examples=[
            "distort calibrate our-monitor --spl 94 --input 3 --input-channel 2",
            "distort calibrate our-monitor --spl 94 --from calibrator.wav",
            "distort calibrate our-monitor --spl 94 --from after-the-work.wav --post-check",
            "distort calibrate our-monitor --apply-to-earlier",
        ],
    )
    add_session(parser, "the session", whole="a calibration is that of the whole session")
    parser.add_argument("--spl", metavar="DB", type=finite, help="what the calibrator gives, dB SPL: written on it")
    parser.add_argument(
        "--from",
        metavar="FILE",
        type=path,
        dest="source",
        help="a recording of it, WAV or FLAC (default: listen to the sound card)",
    )
    parser.add_argument(
        "--channel", metavar="N", type=channel, help="the microphone's in that file, from 1 (default: the only one)"
    )
    parser.add_argument(
        "--replace",
        action="store_true",
        help="ask nothing: take it although it looks implausible, or lies more than 1 dB from the last",
    )
    parser.add_argument(
        "--post-check",
        action="store_true",
        help="after the work: say how far the level drifted, and leave the calibration in force",
    )
    parser.add_argument(
        "--apply-to-earlier",
        action="store_true",
        help="give the calibration to recordings that were saved before it, too: by this you state that no gain was "
        "changed since they were made, and reports say so (without --spl: the calibration in force)",
    )
    parser.add_argument(
        "--keep-metadata",
        action="store_true",
        help="keep that file byte for byte, with its recorder's notes, and its name (default: its samples alone)",
    )
    add_input_options(parser, seconds=LISTEN_S)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Set it, or compare.

    Raises UsageError for words that do not fit together, RecordingError and CalibrationError when what was recorded
    does not set a level, DeviceError for the card.
    """
    from distort.capture.calibration.applying import uncalibrated
    from distort.report.terminal.console import make_console, say
    from distort.report.text.capture import calibration_sentences, closing_sentences, since_last_sentences
    from distort.report.text.mended import earlier_sentences
    from distort.session.calibration.calibration_file import read_calibration
    from distort.session.files.folder import SessionFolder

    _require_fitting(arguments)
    folder = SessionFolder(arguments.folder)
    folder.require()
    if arguments.spl is None:
        _apply_to_earlier(folder)
        return 0
    heard = None if arguments.source is not None else _listen(arguments, folder)
    console = make_console()
    if arguments.post_check:
        reading, closing = _close(arguments, folder, heard)
        say(console, *calibration_sentences(reading, db_spl=arguments.spl))
        say(console, *closing_sentences(closing))
        return 0
    last = read_calibration(folder.calibration_path())
    reading = _calibrate(arguments, folder, heard)
    say(console, *calibration_sentences(reading, db_spl=arguments.spl))
    if last is not None:
        say(console, *since_last_sentences(reading, last))
    if arguments.apply_to_earlier:
        _apply_to_earlier(folder)
    else:
        say(console, *earlier_sentences(uncalibrated(folder), folder=str(folder.root)))
    return 0


def _apply_to_earlier(folder: "SessionFolder") -> None:
    from distort.capture.calibration.applying import apply_to_earlier
    from distort.capture.reel.player_level import level_of_recording
    from distort.report.terminal.console import make_console, say
    from distort.report.text.mended import frozen_with_sentences, given_sentences, levels_off_sentences
    from distort.session.plan.reading import read_plan
    from distort.session.published.frozen import frozen_with

    plan = read_plan(folder.root)
    given = apply_to_earlier(folder)
    console = make_console()
    say(console, *given_sentences(given))
    say(console, *frozen_with_sentences(frozen_with(folder, [one.files.in_session for one in given])))
    if given:
        say(console, f"Next: distort analyze {folder.root}")
    in_use = [one for one in given if one.sidecar.rejected is None]
    say(console, *levels_off_sentences([(one, level_of_recording(folder, plan, one)) for one in in_use]))


def _require_fitting(arguments: argparse.Namespace) -> None:
    if arguments.spl is None and not arguments.apply_to_earlier:
        raise UsageError("say with --spl what the calibrator gives, dB SPL: it is written on it")
    if arguments.spl is None and (arguments.source is not None or arguments.post_check or arguments.input is not None):
        raise UsageError(
            "--apply-to-earlier alone reads no calibrator: say with --spl what it gives, or leave the rest"
        )
    if arguments.post_check and arguments.apply_to_earlier:
        raise UsageError("--post-check leaves the calibration in force: leave --apply-to-earlier out, or say it alone")
    if arguments.post_check and arguments.replace:
        raise UsageError("--post-check replaces no calibration: leave --replace out")
    if arguments.keep_metadata and arguments.source is None:
        raise UsageError("--keep-metadata is about a file: name it with --from, or leave it out")
    require_one_source(arguments)


def _listen(arguments: argparse.Namespace, folder: "SessionFolder") -> "Heard":
    from distort.capture.calibration.calibrating import require_opening
    from distort.capture.simulated.session import require_real
    from distort.commands.listening import listen
    from distort.session.plan.reading import read_plan

    require_real(folder)
    if arguments.post_check:
        require_opening(folder)
    rate_hz = read_plan(folder.root).sweep.sample_rate
    return listen(arguments, seconds=LISTEN_S, sample_rate=rate_hz, what="listening to the calibrator")


def _close(
    arguments: argparse.Namespace, folder: "SessionFolder", heard: "Heard | None"
) -> "tuple[CalibratorReading, ClosingCalibration]":
    from distort.capture.calibration.calibrating import close_from_file, close_from_samples

    if heard is None:
        return close_from_file(
            folder,
            arguments.source,
            db_spl=arguments.spl,
            channel=arguments.channel,
            keep_metadata=arguments.keep_metadata,
        )
    return close_from_samples(folder, heard.samples, heard.sample_rate, db_spl=arguments.spl, device=heard.device)


def _calibrate(arguments: argparse.Namespace, folder: "SessionFolder", heard: "Heard | None") -> "CalibratorReading":
    from distort.capture.calibration.calibrating import calibrate_from_file, calibrate_from_samples
    from distort.report.terminal.console import terminal_question

    asked = {"replace": arguments.replace, "ask": terminal_question()}
    if heard is None:
        return calibrate_from_file(
            folder,
            arguments.source,
            db_spl=arguments.spl,
            channel=arguments.channel,
            keep_metadata=arguments.keep_metadata,
            **asked,
        )
    return calibrate_from_samples(
        folder, heard.samples, heard.sample_rate, db_spl=arguments.spl, device=heard.device, **asked
    )
