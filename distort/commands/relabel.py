"""distort relabel: gives a recording that was brought in its right level, stimulus or condition."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.sessions import add_session, in_named_condition
from distort.commands.values import finite


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "relabel",
        "mend a wrong level, stimulus or condition of a recording that was brought in",
        details="The recording is checked anew, against what it really is, and renamed; its sound is left as it is. "
        "Its sidecar keeps what it was called before, and why. What 'measure' played, it knows: that is rejected, and "
        "measured again.",
        examples=[
            "distort relabel our-monitor desk/sweep_86dB --level 96 --reason 'the wrong file was played'",
            "distort relabel our-monitor desk/sweep_86dB desk/sweep_96dB --condition stand --reason 'mixed up'",
        ],
    )
    add_session(parser, "the session")
    parser.add_argument(
        "recordings",
        metavar="CONDITION/RECORDING",
        nargs="+",
        help="which, such as desk/sweep_96dB_take2; after FOLDER:CONDITION its name alone",
    )
    parser.add_argument("--level", metavar="DB", type=finite, help="its true nominal level, dB SPL at 1 m")
    parser.add_argument("--stimulus", metavar="NAME", help="what was really played: sweep, sweep-short or multitone")
    parser.add_argument(
        "--condition", metavar="NAME", dest="true_condition", help="the condition it was really made in"
    )
    parser.add_argument(
        "--after", action="store_true", help="it is the sweep of the lowest level again, played after the others"
    )
    parser.add_argument("--reason", metavar="TEXT", required=True, help="why, in a few words; it will be published")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Mend it. Raises what `relabelling.relabel` does; those that were mended before an error stay so."""
    from distort.capture.importing.relabelling import Label, relabel
    from distort.capture.importing.silence import relabel_silence, require_one_of_condition
    from distort.commands.conditions import of_the_plan
    from distort.errors import UsageError
    from distort.report.terminal.console import make_console, say
    from distort.report.text.mended import frozen_with_sentences, moved_sentences, relabelled_sentences
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.reading import read_plan
    from distort.session.published.frozen import frozen_with
    from distort.session.recordings.silence_off import silence_called
    from distort.session.recordings.stored import files_called, load_recording

    label = Label(
        stimulus_name=arguments.stimulus,
        level_db_spl=arguments.level,
        condition=arguments.true_condition,
        after=arguments.after,
    )
    if label == Label():
        raise UsageError("say what it really is, with --level, --stimulus, --condition or --after")
    folder = SessionFolder(arguments.folder)
    folder.require()
    plan = read_plan(folder.root)
    if label.condition is not None:
        of_the_plan(plan, label.condition)
    console = make_console()
    named = [in_named_condition(arguments, one) for one in arguments.recordings]
    silences = [silence for one in named if (silence := silence_called(folder, one)) is not None]
    for silence in silences:
        require_one_of_condition(silence, label)
    called = {one.named for one in silences}
    before = [load_recording(files_called(folder, one)) for one in named if one not in called]
    for silence in silences:
        say(console, *moved_sentences(silence, relabel_silence(folder, plan, silence, label, reason=arguments.reason)))
    for one in before:
        say(console, *relabelled_sentences(relabel(folder, plan, one, label, reason=arguments.reason)))
    say(
        console,
        *frozen_with_sentences(
            frozen_with(folder, [*(one.in_session for one in silences), *(one.files.in_session for one in before)])
        ),
    )
    say(console, f"Next: distort analyze {folder.root}")
    return 0
