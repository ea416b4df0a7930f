"""Text from files and names, made fit for a terminal: nothing in it moves the cursor or hides what stands there.

Escape sequences begin with a control character (ECMA-48, section 5); the characters that turn the direction of writing
are those of Unicode Standard Annex 9, table 4. A byte of a name that is no UTF-8 is a lone surrogate in Python.
"""

import re

_CONTROLS = [*range(0x20), *range(0x7F, 0xA0)]
_LINES_AND_TABS = [ord("\n"), ord("\t")]
_DIRECTIONS = [0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A)]
_OTHER_LINE_ENDS = [0x2028, 0x2029]
_SURROGATES = range(0xD800, 0xE000)

_SPELLED = {
    code: f"\\u{code:04x}"  # as JSON and Python spell it
    for code in {*_CONTROLS, *_DIRECTIONS, *_OTHER_LINE_ENDS, *_SURROGATES} - {*_LINES_AND_TABS}
}


def readable(text: str) -> str:
    """`text` with control characters and their like spelled out, but for ends of lines and tabs."""
    return text if text.isascii() and text.isprintable() else text.translate(_SPELLED)


_IN_A_LINE = {ord("\n"): "\\n", ord("\t"): "\\t"}

LONGEST_WORD = 255
"""Characters without a blank or a slash: no file or folder has a longer name."""

_LONGER = re.compile(rf"[^\s/\\]{{{LONGEST_WORD + 1},}}")


def one_line(text: str) -> str:
    """A sentence in one line: the line ends and tabs of names in it are spelled out too, and words beyond 255
    characters lose their middle."""
    return readable(_LONGER.sub(_shortened, text).translate(_IN_A_LINE))


def _shortened(word: re.Match[str]) -> str:
    return f"{word[0][:40]}...{word[0][-20:]} ({len(word[0]):,} characters)"
