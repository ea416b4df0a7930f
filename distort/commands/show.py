"""distort show: prints one result."""

import argparse
from typing import TYPE_CHECKING

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session, as_typed
from distort.commands.values import finite
from distort.errors import did_you_mean, shown
from distort.report.kinds import SHOWN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.console import Console
    from rich.table import Table

    from distort.session.files.folder import SessionFolder
    from distort.session.results.condition_results import ConditionResults

RESULTS = ("overview", "quality", "response", "harmonics", "multitone", "compression", "findings", "audibility", *SHOWN)
OF_ONE_LEVEL = ("harmonics", "multitone")
IN_FINDINGS = {
    "multitone": ("multitones",),
    "compression": ("compression", "no_compression"),
    "findings": ("anomalies", "findings"),
    "audibility": ("audibility",),
}
"""Results that are more than a table, and the fields of findings.json that hold them."""


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "show",
        "print one result",
        details="Reads what 'distort analyze' wrote; response and harmonics at octave midbands, the rest per octave. "
        "The quality of the recordings is known without it.",
        examples=[
            "distort show our-monitor overview",
            "distort show our-monitor quality",
            "distort show our-monitor response",
            "distort show our-monitor harmonics --level 96",
            "distort show our-monitor multitone --level 96",
            "distort show our-monitor compression",
            "distort show our-monitor findings",
            "distort show our-monitor findings --evidence",
            "distort show our-monitor audibility",
        ],
    )
    add_session(parser, "a session; analysed, for all but quality")
    parser.add_argument("what", metavar="WHAT", choices=RESULTS, help=", ".join(RESULTS))
    parser.add_argument("--condition", metavar="NAME", help="this condition alone (default: all)")
    parser.add_argument(
        "--level",
        metavar="DB",
        type=finite,
        help="this nominal level alone, dB SPL (harmonics; multitone, then in third octaves)",
    )
    parser.add_argument(
        "--background",
        choices=("room", "silence"),
        help="audibility over the noise that was recorded, or over none (default: silence)",
    )
    parser.add_argument("--evidence", action="store_true", help="the rows of evidence behind each finding as well")
    parser.add_argument(
        "--json",
        action="store_true",
        help="print it for machines",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print it. Raises SessionError when there are no results, UsageError for words that do not go together."""
    from distort.commands.conditions import analysed
    from distort.report.terminal.console import make_console, say
    from distort.report.terminal.documents import (
        findings_documents,
        overview_documents,
        print_document,
        table_documents,
    )
    from distort.session.files.folder import SessionFolder

    check_words(arguments)
    console, folder = make_console(), SessionFolder(arguments.folder)
    if arguments.what == "quality":
        _print_quality(console, folder, arguments.condition, for_machines=arguments.json)
        return 0
    found = analysed(folder, arguments.condition)
    if arguments.what in SHOWN:
        _print_kind(console, folder, found, arguments)
    elif arguments.what == "overview" and arguments.json:
        print_document(console, overview_documents(found))
    elif not arguments.json:
        for results in found:
            say(console, *_blocks(results, arguments))
        if arguments.what == "findings":
            _print_across(console, folder, arguments.condition)
    elif arguments.what in IN_FINDINGS:
        print_document(console, findings_documents([one.findings for one in found], IN_FINDINGS[arguments.what]))
    else:
        tables = [table_documents(folder, one, arguments.what, level_db_spl=arguments.level) for one in found]
        print_document(console, [table for of_condition in tables for table in of_condition])
    return 0


def _print_kind(
    console: "Console", folder: "SessionFolder", found: "tuple[ConditionResults, ...]", arguments: argparse.Namespace
) -> None:
    """Raises SessionError when no condition has a result of that kind."""
    from distort.errors import SessionError
    from distort.report.terminal.console import say
    from distort.report.terminal.documents import further_documents, print_document

    kind = arguments.what
    having = [results for results in found if kind in results.further]
    if not having:
        if needs := SHOWN[kind].needs:
            raise SessionError(
                f"{folder.root} has no {kind} result: the {needs}; record such ones, and run 'distort analyze' again"
            )
        if asked_by := SHOWN[kind].asked_by:
            raise SessionError(f"{folder.root} holds no analysed {kind}: {asked_by}")
        raise SessionError(f"{folder.root} holds no analysed {kind}: add [{kind}] to session.toml, record it, analyse")
    if arguments.json:
        print_document(console, further_documents(having, kind))
        return
    for results in having:
        say(console, *SHOWN[kind].blocks(results))


def _print_across(console: "Console", folder: "SessionFolder", wanted: str | None) -> None:
    """Of all conditions, or what concerns the one that is wanted. Raises SessionError when what was written cannot be
    trusted."""
    from distort.report.terminal.console import say
    from distort.report.text.findings import across_sentences
    from distort.session.results.across_results import read_across

    found = read_across(folder)
    say(console, *across_sentences([one for one in found if wanted is None or wanted in one.conditions]))


def check_words(arguments: argparse.Namespace) -> None:
    """Raise UsageError for an option that does not go with what is asked for."""
    from distort.errors import UsageError

    what = arguments.what
    if arguments.level is not None and what not in OF_ONE_LEVEL:
        raise UsageError(f"--level goes with harmonics and multitone: the {what} is printed for all levels together")
    if arguments.level is not None and arguments.json and what in IN_FINDINGS:
        raise UsageError(f"--json prints all levels of {what}: leave --level out")
    if arguments.evidence and (what != "findings" or arguments.json):
        raise UsageError("--evidence goes with findings, without --json: that holds the rows anyway")
    if arguments.background is not None and what != "audibility":
        raise UsageError(f"--background goes with audibility, not with {what}")


def _print_quality(
    console: "Console", folder: "SessionFolder", wanted: str | None, *, for_machines: bool = False
) -> None:
    """Reads the sweeps as well, to hold them against one another.

    Raises SessionError when nothing is recorded, UsageError when the condition `wanted` is not.
    """
    from distort.assembly.condition.against_others import against_others
    from distort.assembly.condition.foreign import foreign_among
    from distort.assembly.condition.silences_checked import silences_checked
    from distort.errors import SessionError, UsageError
    from distort.report.terminal.console import say
    from distort.report.terminal.documents import print_document, quality_documents
    from distort.report.text.check import quality_blocks
    from distort.report.text.silences_checked import silence_sentences
    from distort.session.plan.reading import read_plan
    from distort.session.recordings.silence_off import load_silences
    from distort.session.recordings.stored import load_recordings

    folder.require()
    recorded = folder.conditions_recorded()
    if not recorded:
        raise SessionError(f"{folder.root} has no recordings yet: `distort measure` or `distort add` makes some")
    if wanted is not None and wanted not in recorded:
        raise UsageError(
            f"{folder.root} has no recordings of condition {shown(wanted)}{did_you_mean(wanted, recorded)}: "
            f"there are {', '.join(recorded)}"
        )
    chosen = {name: load_recordings(folder, name) for name in recorded if wanted in (None, name)}
    if for_machines:
        print_document(console, quality_documents(chosen))
        return
    plan = read_plan(folder.root)
    for name, recordings in chosen.items():
        beside, foreign = against_others(recordings, plan), foreign_among(recordings, plan)
        say(console, *quality_blocks(name, recordings, beside=beside, foreign=foreign))
        say(console, *silence_sentences(silences_checked(load_silences(folder, name), recordings)))


def _blocks(results: "ConditionResults", arguments: argparse.Namespace) -> "Iterator[str | Table]":
    from distort.report.text.audibility import audibility_blocks
    from distort.report.text.findings import findings_blocks
    from distort.report.text.multitone import multitone_blocks
    from distort.report.text.summary import harmonics_blocks, overview_of_levels, response_blocks
    from distort.report.text.tables_compression import compression_blocks
    from distort.session.files.folder import SessionFolder
    from distort.session.results.listened import kept_listened

    without_options = {
        "overview": overview_of_levels,
        "response": response_blocks,
        "compression": compression_blocks,
    }
    if arguments.what in without_options:
        return without_options[arguments.what](results)
    match arguments.what:
        case "harmonics":
            return harmonics_blocks(results, level_db_spl=arguments.level)
        case "multitone":
            return multitone_blocks(results, level_db_spl=arguments.level)
        case "findings":
            listened = kept_listened(SessionFolder(arguments.folder))
            return findings_blocks(
                results, evidence=arguments.evidence, session=as_typed(arguments.folder), listened=listened
            )
        case _:
            return audibility_blocks(results, background=arguments.background)
