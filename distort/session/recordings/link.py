"""Whether a recording came through a link that codes the sound, so that the link's own faults are in the numbers."""

from collections.abc import Iterable

from distort.session.recordings.reel_file import WHOLE
from distort.session.recordings.stored import Recording

LINK_WORDS = ("wireless", "bluetooth", "wi-fi", "wifi", "wlan", "network", "ethernet", "streaming")
"""Words of [loudspeaker] input, in any case, that name a link which is likely to code what it carries."""

FROM_A_REEL = f"the reel {WHOLE}"
"""Stands in the sidecar's device of every recording that was cut out of a reel's."""


def coded_link(recordings: Iterable[Recording]) -> str | None:
    """Why a codec may be in the numbers of `recordings`, as the middle of a sentence; None when nothing says so.

    The rule: the plan's [loudspeaker] input names such a link, or a recording was cut out of that of a reel, which is
    played from anything.
    """
    for one in recordings:
        named = one.sidecar.loudspeaker.input
        if any(word in named.lower() for word in LINK_WORDS):
            return f'the input is "{named}"'
    if any(FROM_A_REEL in one.sidecar.device for one in recordings):
        return "a reel was played, from a player and over a way that nobody stated"
    return None
