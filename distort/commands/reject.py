"""distort reject: leaves a spoilt take out of the results, and says why."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session, in_named_condition


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "reject",
        "leave a spoilt recording out of the results",
        details="The recording is kept; results and reports name it with the reason.",
        examples=["distort reject our-monitor desk/sweep_96dB --reason 'a lorry passed'"],
    )
    add_session(parser, "the session")
    parser.add_argument(
        "recording",
        metavar="CONDITION/RECORDING",
        help="which one, such as desk/sweep_96dB_take2; after FOLDER:CONDITION its name alone",
    )
    parser.add_argument("--reason", metavar="TEXT", required=True, help="why, in a few words; it will be published")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Mark it. Raises SessionError when there is no such recording, or the reason is empty."""
    from distort.report.terminal.console import make_console, say
    from distort.session.files.folder import SessionFolder
    from distort.session.recordings.sidecar import reject
    from distort.session.recordings.silence_off import reject_silence, silence_called
    from distort.session.recordings.stored import files_called

    folder = SessionFolder(arguments.folder)
    folder.require()
    recording = in_named_condition(arguments, arguments.recording)
    if (silence := silence_called(folder, recording)) is not None:
        reject_silence(silence, arguments.reason)
    else:
        reject(files_called(folder, recording).sidecar_path, arguments.reason)
    say(make_console(), f"{recording} is left out from the next analysis on: {arguments.reason.strip()}")
    return 0
