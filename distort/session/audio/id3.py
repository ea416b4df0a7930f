"""The time of recording in an ID3v2 tag (versions 2.3.0 and 2.4.0, M. Nilsson, 1999 and 2000).

    tag     "ID3", version, revision, flags, size in four times seven bits; perhaps an extended header; frames
    frame   four letters, size (2.4: four times seven bits; 2.3: 32 bits), two bytes of flags, content
    text    one byte that says the encoding, then the text

TDRC is "recording time" in version 2.4; version 2.3 knows no time with seconds.
"""

from collections.abc import Iterator

ID3_HEADER_BYTES = 10
_RECORDING_TIME = b"TDRC"
_UNSYNCHRONISED, _EXTENDED = 0x80, 0x40
_FRAME_UNSYNCHRONISED, _FRAME_WITH_LENGTH, _FRAME_CODED = 0x02, 0x01, 0x0C
_ENCODINGS = ("latin-1", "utf-16", "utf-16-be", "utf-8")


def id3_size(header: bytes) -> int:
    """Bytes that follow the ten of a tag's `header`."""
    return _four_times_seven(header[6:10])


def recording_times(tag: bytes) -> Iterator[str]:
    """What the frames of the recording time in `tag` say, which begins with its header; nothing of what is no tag."""
    version, flags = tag[3:4], tag[5:6]
    if tag[:3] != b"ID3" or version not in (b"\x03", b"\x04") or not flags:
        return
    newer = version == b"\x04"
    body = tag[ID3_HEADER_BYTES : ID3_HEADER_BYTES + id3_size(tag)]
    if flags[0] & _UNSYNCHRONISED and not newer:  # the newer version says it of each frame as well
        body = _synchronised(body)
    at = _extended_bytes(body, newer=newer) if flags[0] & _EXTENDED else 0
    while len(header := body[at : at + 10]) == 10 and header[:4] != bytes(4):
        size = _four_times_seven(header[4:8]) if newer else int.from_bytes(header[4:8], "big")
        if header[:4] == _RECORDING_TIME:
            yield _text(body[at + 10 : at + 10 + size], flags=header[9] if newer else 0)
        at += 10 + size


def _extended_bytes(body: bytes, *, newer: bool) -> int:
    """Length of the extended header: the newer version counts the size's own four bytes."""
    return _four_times_seven(body[:4]) if newer else 4 + int.from_bytes(body[:4], "big")


def _text(content: bytes, *, flags: int) -> str:
    """A frame's text; empty where it is compressed or encrypted."""
    if flags & _FRAME_CODED:
        return ""
    if flags & _FRAME_WITH_LENGTH:
        content = content[4:]
    if flags & _FRAME_UNSYNCHRONISED:
        content = _synchronised(content)
    if not content or content[0] >= len(_ENCODINGS):
        return ""
    return content[1:].decode(_ENCODINGS[content[0]], errors="replace")


def _synchronised(content: bytes) -> bytes:
    """Without the zeros that were put after each byte of ones."""
    return content.replace(b"\xff\x00", b"\xff")


def _four_times_seven(content: bytes) -> int:
    """Four bytes whose highest bits do not count."""
    size = 0
    for byte in content:
        size = size << 7 | byte & 0x7F
    return size
