"""distort bundle: packs what a reader may check."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session
from distort.commands.values import path


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "bundle",
        "pack what a reader may check into one file",
        details="Recordings, calibration, plan and results. The comments in session.toml stay out, and so does every "
        "file that no command made. Recordings that still carry notes of their recorder, or the name of the file they "
        "came from, are told by name.",
        examples=["distort bundle our-monitor", "distort bundle our-monitor --to spring-edition.zip"],
    )
    add_session(parser, "a session that was analysed", whole="a bundle holds the whole session")
    parser.add_argument("--to", metavar="FILE", type=path, help="the ZIP file to write (default: FOLDER.zip)")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Pack it. Raises SessionError when there are no results, or the file exists already."""
    from pathlib import Path

    from distort.commands.conditions import analysed
    from distort.report.terminal.console import make_console, say
    from distort.report.text.published import carried_sentence, left_out_sentences, unlicensed_sentences
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan
    from distort.session.published.bundle import CONTENTS, write_bundle
    from distort.session.published.carried import still_carrying

    folder = SessionFolder(arguments.folder)
    software = analysed(folder, None)[0].findings.software
    target = arguments.to or Path(f"{arguments.folder.resolve().name}.zip")
    packed = write_bundle(folder, read_plan(folder.root), target, software=software)
    size_mb = target.stat().st_size / 1e6
    console = make_console()
    say(console, f"Packed {len(packed.names)} files into {target} ({size_mb:.1f} MB).")
    if carrying := still_carrying(folder, (name for name in packed.names if name != CONTENTS)):
        say(console, carried_sentence(carrying))
    say(make_console(stderr=True), *left_out_sentences(packed.left_out, str(folder.root)))
    say(make_console(stderr=True), *unlicensed_sentences(packed.unlicensed))
    return 0
