"""Spoils files on purpose: bytes, JSON values, lines of text, fields of audio headers; all drawn from a seed."""

import json
import random
import struct
from typing import Any

ODD_NUMBERS = [
    *(0, -1, 1, 2, 255, 2**31 - 1, 2**31, 2**32 - 1, 2**53 + 1, 2**63, -(2**63), 10**30, 10**400),
    *(0.0, -0.0, 5e-324, 1e-300, 0.5, 1e9, 1e18, 1e300, -1e300, 1.7976931348623157e308),
]
ODD_TEXTS = [
    *("", " ", "..", "../../etc/passwd", "/etc/passwd", "C:\\x", "a/b", "a\0b", "a\nb", "\x1b[31m", "\u202e"),
    *("=1+1", "@SUM(1)", "<script>alert(1)</script>", "&amp;", "nan", "inf", "1e999", "x" * 5000, "\ud83d\ude00"),
    *("sweep", "multitone", "tone", "burst", "noise", "silence", "chirp", "PCM_24", "default", "86"),
]
ODD_VALUES: list[Any] = [*ODD_NUMBERS, *ODD_TEXTS, None, True, False, [], {}, [[]], [None], {"": 0}]
ODD_WORDS = [0, 1, 2, 3, 7, 8, 16, 24, 32, 255, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFE, 0xFFFFFFFF]


def bytes_of(chance: random.Random, content: bytes) -> bytes:
    """`content` with some bytes turned, cut, doubled, moved or replaced; more often near its beginning."""
    spoilt = bytearray(content)
    for _ in range(chance.choice([1, 1, 2, 4, 16])):
        size = max(len(spoilt), 1)
        at = chance.randrange(min(size, 64)) if chance.random() < 0.6 else chance.randrange(size)
        match chance.randrange(6):
            case 0:
                spoilt[at : at + 1] = bytes([chance.randrange(256)])
            case 1:
                spoilt[at : at + 1] = bytes([(spoilt[at] if at < len(spoilt) else 0) ^ (1 << chance.randrange(8))])
            case 2:
                del spoilt[at:]
            case 3:
                spoilt[at:at] = spoilt[at : at + chance.randrange(1, 40)]
            case 4:
                del spoilt[at : at + chance.randrange(1, 40)]
            case _:
                order = chance.choice("<>")
                word = struct.pack(f"{order}I", chance.choice(ODD_WORDS))
                length = chance.choice([2, 4])
                spoilt[at : at + length] = word[:length]
    return bytes(spoilt)


def document(chance: random.Random, text: str) -> str:
    """A JSON text with one to three of its values or keys replaced, removed or doubled; now and then any bytes."""
    if chance.random() < 0.1:
        return bytes_of(chance, text.encode()).decode("utf-8", errors="replace")
    whole = json.loads(text)
    for _ in range(chance.choice([1, 1, 1, 2, 3])):
        holders = list(_holders(whole))
        holder, key = chance.choice(holders)
        if chance.random() < 0.1 and isinstance(holder, dict):
            del holder[key]
        elif chance.random() < 0.1 and isinstance(holder, dict):
            holder[str(chance.choice(ODD_TEXTS))] = holder.pop(key)
        elif isinstance(holder[key], int | float) and not isinstance(holder[key], bool) and chance.random() < 0.7:
            factor = chance.choice([-1, 0, 0.5, 2, 10, 1000, 1e6, 1e-6])
            holder[key] = chance.choice([chance.choice(ODD_NUMBERS), holder[key] * factor, holder[key] + 1])
        else:
            holder[key] = chance.choice(ODD_VALUES)
    return json.dumps(whole)


def _holders(value: Any) -> Any:
    """Every place in a document, as its holder and key."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in list(items):
        yield value, key
        yield from _holders(inner)


def lines(chance: random.Random, text: str) -> bytes:
    """A text with lines swapped, doubled, cut or given other values; now and then any bytes."""
    if chance.random() < 0.2:
        return bytes_of(chance, text.encode())
    spoilt = text.splitlines()
    for _ in range(chance.choice([1, 1, 2, 3])):
        at = chance.randrange(len(spoilt))
        key, equals, _ = spoilt[at].partition("=")
        match chance.randrange(6):
            case 0:
                spoilt[at] = spoilt[chance.randrange(len(spoilt))]
            case 1:
                spoilt[at] = spoilt[at][: chance.randrange(len(spoilt[at]) + 1)]
            case 2:
                spoilt[at] += chance.choice(["#", '"', "]", "[", "=", ",", "\0", "\t1", " 9e99", "\u00e9", "\r"])
            case 3:
                spoilt.insert(at, chance.choice(ODD_TEXTS))
            case _:
                value = chance.choice(ODD_VALUES)
                written = json.dumps(value) if value is not None else chance.choice(["nan", "1979-05-27", "[[1],[2]]"])
                spoilt[at] = f"{key}{equals}{written}" if equals else f"{written} {written}"
    return "\n".join(spoilt).encode("utf-8", errors="surrogatepass")


ODD_CELLS = [
    *("", " ", "0", "-1", "9999", "1e300", "-1e300", "1e400", "inf", "nan"),
    *("x", "x" * 5000, '"1"', "1;2", "1,2", "\0"),
]


def table(chance: random.Random, text: str) -> bytes:
    """A CSV table with cells, rows or columns replaced, taken away, doubled or moved; now and then any bytes."""
    if chance.random() < 0.1:
        return bytes_of(chance, text.encode())
    rows = [line.split(",") for line in text.splitlines()]
    for _ in range(chance.choice([1, 1, 1, 3])):
        row, column = chance.randrange(len(rows)), chance.randrange(len(rows[0]))
        match chance.randrange(9):
            case 0:
                del rows[row:]
            case 1:
                rows.insert(row, rows[chance.randrange(len(rows))])
            case 2:
                rows = [[*cells[:column], *cells[column + 1 :]] for cells in rows]
            case 3:
                rows = [[*cells, *cells[column : column + 1]] for cells in rows]
            case 4:
                rows[1:] = rows[:0:-1]
            case 5:
                odd = chance.choice(ODD_CELLS)
                rows = [rows[0], *([*cells[:column], odd, *cells[column + 1 :]] for cells in rows[1:])]
            case _:
                rows[row] = [*rows[row][:column], chance.choice(ODD_CELLS), *rows[row][column + 1 :]]
        if not rows or not rows[0]:
            return b""
    encoding = chance.choice(["utf-8"] * 8 + ["utf-8-sig", "utf-16"])
    return chance.choice(["\n"] * 4 + ["\r\n"]).join(",".join(cells) for cells in rows).encode(encoding)
