"""distort new: makes a session folder with its plan."""

import argparse
import os
from pathlib import Path

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import path, positive


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "new",
        "make a session folder",
        details="A session is one loudspeaker in one set-up. Its plan, session.toml, is yours to edit from then on.",
        examples=[
            "distort new our-monitor --name 'Monitor A' --conditions stand,desk",
            "distort new x --levels 90:102:1.5",
        ],
    )
    parser.add_argument("folder", metavar="FOLDER", type=path, help="the folder to make")
    parser.add_argument("--name", metavar="TEXT", help="what is tested (default: the folder's name)")
    parser.add_argument(
        "--levels",
        metavar="DB,DB,...",
        default="81:101:5",
        help="levels in dB SPL at 1 m, rising, or first:last:step (default: 81:101:5)",
    )
    parser.add_argument(
        "--distance", metavar="M", type=positive, default=1.0, help="metres to the microphone (default: 1)"
    )
    parser.add_argument(
        "--conditions", metavar="NAME,NAME,...", default="default", help="states to compare (default: one, 'default')"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Make the folder. Raises UsageError for values no plan can hold, SessionError when there is a plan already."""
    from distort.errors import SessionError
    from distort.report.terminal.console import make_console, say
    from distort.session.files.folder import SessionFolder
    from distort.session.files.new_folder import new_folder
    from distort.session.plan.template import parse_conditions, parse_levels, plan_text, write_plan

    folder: Path = arguments.folder
    _check_name(folder)
    levels = parse_levels(arguments.levels)
    conditions = parse_conditions(arguments.conditions)
    if os.path.lexists(SessionFolder(folder).plan_path):
        raise SessionError(
            f"{folder} is a session already, and no plan is overwritten: name another folder, or go on with this one "
            f"(distort check {folder} says where it stands)"
        )
    text = plan_text(
        name=arguments.name or _name_of(folder),
        levels_db_spl=levels,
        distance_m=arguments.distance,
        conditions=conditions,
    )
    with new_folder(folder):
        write_plan(folder, text)
    say(
        make_console(),
        f"Made {folder}: levels {', '.join(f'{level:g}' for level in levels)} dB SPL at 1 m, "
        f"{'conditions' if len(conditions) > 1 else 'condition'} {', '.join(conditions)}.",
        f"Next: read {folder / 'session.toml'} and complete what it says about the loudspeaker.",
    )
    return 0


def _check_name(folder: Path) -> None:
    """The folder that is named, even by `.`; those above it are not the session's."""
    from distort.errors import UsageError, shown
    from distort.session.files.portable import fault_of, twin_beside

    named = folder if folder.name not in {"", ".."} else folder.resolve()
    if (fault := fault_of(named.name)) is not None:
        how = "; conditions are named with --conditions" if ":" in named.name else ""
        raise UsageError(
            f"{shown(named.name)} cannot name a session: {fault}, and sessions travel; choose another name{how}"
        )
    if (twin := twin_beside(named)) is not None:
        raise UsageError(
            f"{shown(named.name)} and {shown(twin)}, which is there, are one folder on other systems: choose another "
            f"name"
        )


def _name_of(folder: Path) -> str:
    """The folder's own name, as far as a plan can hold it."""
    from distort.session.plan.rules import MOST_CHARACTERS

    name = folder.resolve().name[:MOST_CHARACTERS]
    return "".join(each if each.isprintable() else "\N{REPLACEMENT CHARACTER}" for each in name)
