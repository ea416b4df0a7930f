"""distort wavelength: from a frequency to path lengths, and back."""

import argparse
import re

from distort.commands.parser import Parser, Subparsers, add_command
from distort.commands.values import finite
from distort.errors import shown

_VALUE = re.compile(r"\s*([0-9]*[.,]?[0-9]+(?:e[+-]?[0-9]+)?)\s*(hz|khz|k|mm|cm|m)?\s*", re.IGNORECASE)
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
"""A comma that some read as the decimal one and others as that of thousands."""
IN_HZ = {"hz": 1.0, "khz": 1e3, "k": 1e3}
IN_M = {"mm": 1e-3, "cm": 1e-2, "m": 1.0}
LOWEST_HZ, HIGHEST_HZ = 1.0, 1e6
SHORTEST_M, LONGEST_M = 1e-4, 1e3


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "wavelength",
        "frequency to half- and quarter-wave path length, and back",
        details="Says which distance to tape, and where a copy of the sound that comes later makes dips.",
        examples=["distort wavelength 1200", "distort wavelength 1.2kHz --temperature 26", "distort wavelength 14.3cm"],
    )
    parser.add_argument(
        "value",
        metavar="VALUE",
        nargs="+",
        help="a frequency (1200, 1.2kHz, 1.2k), or a length with its unit (14.3cm, 143 mm, 0,143 m)",
    )
    parser.add_argument(
        "--temperature", metavar="DEGC", type=finite, default=20.0, help="of the air, degrees Celsius (default: 20)"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print it. Raises UsageError for what is neither a frequency nor a length, or a temperature nobody measures at."""
    from distort.analysis.common.sound_in_air import speed_of_sound_m_s
    from distort.errors import UsageError
    from distort.report.terminal.console import make_console, say
    from distort.report.text.wavelength import frequency_sentences, length_sentences

    try:
        speed_of_sound_m_s(arguments.temperature)
    except ValueError as error:
        raise UsageError(f"{error}: is it in degrees Celsius?") from error
    number, unit = parse_value(" ".join(arguments.value))
    console = make_console()
    if unit in IN_HZ:
        say(console, *frequency_sentences(number * IN_HZ[unit], arguments.temperature))
    else:
        say(console, *length_sentences(number * IN_M[unit], arguments.temperature))
    return 0


def parse_value(text: str) -> tuple[float, str]:
    """The number and its unit ("hz" where none is said). Raises UsageError for anything else, or out of range."""
    from distort.errors import UsageError

    found = _VALUE.fullmatch(text)
    if found is None:
        raise UsageError(f"{shown(text)} is neither a frequency (1200, 1.2kHz) nor a length (14.3cm, 143mm, 0.143m)")
    if _THOUSANDS.fullmatch(found[1]):
        either = f"{found[1].replace(',', '.')} or {found[1].replace(',', '')}"
        raise UsageError(f"{shown(text)} may mean {either}: write the one that is meant, without a comma")
    number, unit = float(found[1].replace(",", ".")), (found[2] or "hz").lower()
    if unit in IN_HZ and not LOWEST_HZ <= number * IN_HZ[unit] <= HIGHEST_HZ:
        raise UsageError(
            f"{text} as a frequency is outside {LOWEST_HZ:g} Hz to {HIGHEST_HZ / 1e6:g} MHz: a length needs its unit, "
            f"as in 14.3cm"
        )
    if unit in IN_M and not SHORTEST_M <= number * IN_M[unit] <= LONGEST_M:
        raise UsageError(f"{text} as a length is outside 0.1 mm to 1 km")
    return number, unit
