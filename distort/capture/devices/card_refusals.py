"""What a sound card means when it refuses: the device library's error numbers as sentences with what to do."""

from typing import Any

from distort.errors import DeviceError

SAMPLES_OF_A_BLOCK = (16, 65536)
"""What --block takes."""

_HELD = "another program holds it, or it was pulled out: close other programs, look at its cable, and try again"
_TOGETHER = "its output and its input do not work together: name two of one card with --output and --input"
_OTHER_RATE = "it does not take this sample rate: `distort devices` shows those that it takes"
_OTHER_CHANNEL = "it does not have so many channels: `distort devices` shows how many there are"
_OTHER_BLOCK = "it does not take blocks of this size: leave --block out, or try another"
_AGAIN = "it did not answer: switch it off and on, and try again"

MEANINGS = {
    -9999: _HELD,  # the system refused; in most cases it is held
    -9998: _OTHER_CHANNEL,
    -9997: _OTHER_RATE,
    -9996: "it is not there any more: `distort devices` lists what is",
    -9994: "it does not take floating-point samples: choose the same card by another of its names",
    -9993: _TOGETHER,
    -9992: "there is not enough memory for it: close other programs",
    -9991: _OTHER_BLOCK,
    -9990: _OTHER_BLOCK,
    -9987: _AGAIN,
    -9986: _AGAIN,
    -9985: _HELD,
}
"""By the numbers of `PaErrorCode` in PortAudio's portaudio.h (version 19, from memory)."""

OTHERWISE = (
    "it refused: look whether another program holds it, and try another rate, another size of blocks, or the same card "
    "by another of its names"
)


def refused(what: str, error: Exception) -> DeviceError:
    """The error to raise for one of the device library's; `what` names the device.

    The library gives a text, a number, and what the system's own drivers said: users are told what the number means.
    """
    code: Any = error.args[1] if len(error.args) > 1 else None
    return DeviceError(f"{what} cannot be used: {MEANINGS.get(code, OTHERWISE)}")


def lost_samples_words(count: int, *, block_samples: int, most_samples: int, sample_rate: int) -> str:
    """What to do where a recording lost samples `count` times.

    block_samples   that were asked for; 0: none
    most_samples    largest block that is allowed at `sample_rate`
    """
    times = "once" if count == 1 else f"{count} times"
    if block_samples >= most_samples:
        return (
            f"the sound card lost samples {times}: close other programs; blocks of {block_samples} samples are the "
            f"largest that are allowed at {sample_rate} Hz"
        )
    return (
        f"the sound card lost samples {times}: close other programs, or take larger blocks with --block "
        f"({SAMPLES_OF_A_BLOCK[0]} to {most_samples} samples are allowed at {sample_rate} Hz)"
    )
