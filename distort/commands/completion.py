"""distort completion: prints what makes a shell complete commands and options."""

import argparse
from collections.abc import Mapping
from functools import partial

from distort.commands.parser import Parser, Subparsers, add_command

SHELLS = ("bash", "zsh", "fish")


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "completion",
        "print what makes your shell complete commands and options",
        examples=[
            'eval "$(distort completion bash)"     # in ~/.bashrc',
            'eval "$(distort completion zsh)"      # in ~/.zshrc, after compinit',
            "distort completion fish | source      # in ~/.config/fish/config.fish",
        ],
    )
    parser.add_argument("shell", metavar="SHELL", choices=SHELLS, help=", ".join(SHELLS))
    parser.set_defaults(run=partial(run, subparsers=subparsers))


def run(arguments: argparse.Namespace, *, subparsers: "Subparsers[Parser]") -> int:
    """Print it; `subparsers` holds all commands by now."""
    print(script(arguments.shell, subparsers.choices), end="")
    return 0


def script(shell: str, commands: Mapping[str, Parser]) -> str:
    """The script for `shell`, one of SHELLS, from the words that the commands' parsers know."""
    words = {name: parser.words() for name, parser in commands.items()}
    if shell == "fish":
        return _fish(commands, words)
    start = "autoload -U +X bashcompinit && bashcompinit\n" if shell == "zsh" else ""
    return start + _bash(words)


def _bash(words: Mapping[str, tuple[str, ...]]) -> str:
    """zsh reads the same through bashcompinit. File names are always offered: most arguments are a folder."""
    cases = "\n".join(f"        {name}) words='{' '.join(known)}' ;;" for name, known in words.items())
    return f"""_distort() {{
    local words
    case ${{COMP_WORDS[1]}} in
{cases}
        *) words='' ;;
    esac
    [ "$COMP_CWORD" -eq 1 ] && words='{" ".join(words)}'
    COMPREPLY=($(compgen -W "$words" -- "${{COMP_WORDS[COMP_CWORD]}}"))
    [ "$COMP_CWORD" -gt 1 ] && COMPREPLY+=($(compgen -f -- "${{COMP_WORDS[COMP_CWORD]}}"))
}}
complete -o filenames -F _distort distort
"""


def _fish(commands: Mapping[str, Parser], words: Mapping[str, tuple[str, ...]]) -> str:
    lines = []
    for name, parser in commands.items():
        about = (parser.description or "").split(".")[0].replace("'", "\\'")
        lines.append(f"complete -c distort -n __fish_use_subcommand -a {name} -d '{about}'")
        for word in words[name]:
            option = f"-l {word[2:]}" if word.startswith("--") else f"-a {word}"
            lines.append(f"complete -c distort -n '__fish_seen_subcommand_from {name}' {option}")
    return "\n".join(lines) + "\n"
