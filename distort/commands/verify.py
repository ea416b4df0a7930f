"""distort verify: checks this installation against closed forms."""

from distort.commands.parser import Parser, Run, Subparsers, add_command


def add_parser(subparsers: "Subparsers[Parser]", run: Run) -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "verify",
        "check this installation against closed forms",
        details="Runs devices whose distortion is known exactly through the real analysis; status 1 if one is missed.",
    )
    parser.set_defaults(run=run)
