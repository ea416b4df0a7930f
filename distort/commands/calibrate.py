"""distort calibrate: sets the microphone's level from a calibrator's recording, or closes the day with one."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import channel, finite, path


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "calibrate",
        "set the microphone level from a calibrator",
        details="The recording must be made with the gain that the measurement will be made with.",
        examples=[
            "distort calibrate our-monitor --spl 94 --from calibrator.wav",
            "distort calibrate our-monitor --spl 94 --from after-the-work.wav --closing",
        ],
    )
    parser.add_argument("folder", metavar="FOLDER", type=path, help="the session")
    parser.add_argument(
        "--spl", metavar="DB", type=finite, required=True, help="what the calibrator gives, dB SPL: it is written on it"
    )
    parser.add_argument(
        "--from", metavar="FILE", type=path, required=True, dest="source", help="its recording, WAV or FLAC"
    )
    parser.add_argument(
        "--channel", metavar="N", type=channel, help="the microphone's channel, counted from 1 (default: the only one)"
    )
    parser.add_argument(
        "--replace",
        action="store_true",
        help="ask nothing: take it although it looks implausible, or lies more than 1 dB from the last",
    )
    parser.add_argument(
        "--closing",
        action="store_true",
        help="after the work: say how far the level drifted, and leave the calibration in force",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Set it, or compare. Raises RecordingError and CalibrationError when the recording does not set a level."""
    from distort.capture.calibrating import calibrate_from_file, close_from_file
    from distort.errors import UsageError
    from distort.report.capture_words import print_calibration, print_closing, print_since_last
    from distort.report.console import make_console, terminal_question
    from distort.session.calibration_file import read_calibration
    from distort.session.folder import SessionFolder

    if arguments.closing and arguments.replace:
        raise UsageError("--closing replaces no calibration: leave --replace out")
    folder = SessionFolder(arguments.folder)
    folder.require()
    console = make_console()
    if arguments.closing:
        reading, closing = close_from_file(folder, arguments.source, db_spl=arguments.spl, channel=arguments.channel)
        print_calibration(console, reading, db_spl=arguments.spl)
        print_closing(console, closing)
        return 0
    last = read_calibration(folder.calibration_path())
    reading = calibrate_from_file(
        folder,
        arguments.source,
        db_spl=arguments.spl,
        channel=arguments.channel,
        replace=arguments.replace,
        ask=terminal_question(),
    )
    print_calibration(console, reading, db_spl=arguments.spl)
    if last is not None:
        print_since_last(console, reading, last)
    return 0
