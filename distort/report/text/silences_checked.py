"""What `distort check` and `distort show quality` say of silences with the loudspeaker off, and how to get one."""

from collections.abc import Iterator, Sequence

from distort.assembly.condition.silences_checked import SilenceChecked
from distort.recording.quality.check_result import worst

SECONDS = 20
"""To record: enough that an octave of noise scatters by a third of a decibel."""


def silence_sentences(found: Sequence[SilenceChecked]) -> Iterator[str]:
    """One for each: its name, its length, what it is worth and why."""
    for one in found:
        verdict = worst(one.findings)
        begin = "Silence" if verdict == "good" else "Doubtful: silence"
        sentences = " ".join(finding.sentence for finding in one.findings)
        yield f"{begin} with the loudspeaker off, {one.silence.named}, {one.silence.sidecar.seconds:.0f} s: {sentences}"


def how_to_get_one(condition: str, *, folder: str) -> str:
    """For a condition that has none."""
    return (
        f"To know the hiss of an active loudspeaker as well: switch it off, move nothing and change no gain, record "
        f"{SECONDS} s of silence, then distort add {folder} off.wav --stimulus silence --condition {condition}"
    )
