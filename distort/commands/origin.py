"""distort origin: says where one number comes from."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import finite, positive, session_and_condition


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "origin",
        "say where one number comes from",
        details="The recording, window, floors, bias, calibration and version behind one row of the tables.",
        examples=[
            "distort origin our-monitor:desk h3 --hz 640 --level 96",
            "distort origin our-monitor thd --hz 50 --level 86",
        ],
    )
    parser.add_argument(
        "target", metavar="FOLDER[:CONDITION]", type=session_and_condition, help="a session that was analysed"
    )
    parser.add_argument("quantity", metavar="QUANTITY", help="response, thd, or an order: h2, h3 ...")
    parser.add_argument("--hz", metavar="HZ", type=positive, required=True, help="frequency of the fundamental")
    parser.add_argument("--level", metavar="DB", type=finite, required=True, help="nominal level, dB SPL")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Say it. Raises UsageError for a number that is not there, SessionError for files that cannot be trusted."""
    from distort.analysis.common.quantities import from_findings
    from distort.commands.conditions import analysed
    from distort.errors import UsageError, did_you_mean, shown
    from distort.report.terminal.console import make_console, say
    from distort.report.text.origin import origin_sentences
    from distort.session.files.folder import SessionFolder
    from distort.session.results.number_origin import Wanted, origin_of

    root, condition = arguments.target
    folder = SessionFolder(root)
    found = analysed(folder, condition)
    if len(found) > 1:
        names = ", ".join(f"{root}:{results.findings.condition}" for results in found)
        raise UsageError(f"{root} has several conditions: say which, one of {names}")
    try:
        quantity = from_findings(arguments.quantity)
    except ValueError:
        text = shown(arguments.quantity)
        near = did_you_mean(arguments.quantity, ("response", "thd"))
        raise UsageError(
            f"{text} is no quantity of these tables{near}: response, thd, or an order, h2, h3 ..."
        ) from None
    wanted = Wanted(quantity=quantity, frequency_hz=arguments.hz, level_db_spl=arguments.level)
    say(make_console(), *origin_sentences(origin_of(folder, found[0], wanted), wanted))
    return 0
