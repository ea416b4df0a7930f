"""distort calibrate: sets the microphone's level from the recording of a sound calibrator."""

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
        examples=["distort calibrate our-monitor --spl 94 --from calibrator.wav"],
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
    parser.add_argument("--replace", action="store_true", help="replace a calibration that the session has already")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Set it. Raises RecordingError and CalibrationError when the recording does not set a level."""
    from distort.capture.calibrating import calibrate_from_file
    from distort.report.capture_words import print_calibration
    from distort.report.console import make_console
    from distort.session.folder import SessionFolder

    folder = SessionFolder(arguments.folder)
    folder.require()
    reading = calibrate_from_file(
        folder, arguments.source, db_spl=arguments.spl, channel=arguments.channel, replace=arguments.replace
    )
    print_calibration(make_console(), reading, db_spl=arguments.spl)
    return 0
