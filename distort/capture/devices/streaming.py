"""A stream of a sound card from its opening to its end: watched, broken off by Ctrl-C, and found whole or not."""

import time
from collections.abc import Callable
from typing import Any

from distort.capture.devices.card_refusals import lost_samples_words, refused
from distort.capture.devices.pauses import PauseWatch
from distort.capture.devices.playing import Run
from distort.capture.devices.sound_systems import device_library
from distort.errors import DeviceError, RecordingError
from signals.levels import amplitude_to_db

LEAD_IN_S = 0.5
"""Silence before every run: streams begin with gaps, and a device that wakes swallows its first tenths."""

LATENCY_S = 0.05
"""Asked of both directions where nobody asks for a size of blocks. Ctrl-C must stop the sound in 0.2 s, and what is
buffered plays on (a virtual card fell silent after 0.05 to 0.08 s); a shorter buffer drops out more easily."""

BLOCKS_BUFFERED = 4
"""How many blocks of a stated size lie in a buffer."""

LONGEST_LATENCY_S = 0.1
"""Of a stream that sounds: with the fade of 0.02 s and a block it still falls silent within 0.2 s of Ctrl-C."""

STALLED_S = 3.0
"""A stream that has not moved for so long will not move again, even if its host says that it is active."""

LATE_LATENCIES = 3
"""A gap between two callbacks of more latencies than this (and a block) has emptied every buffer that was asked for."""

LOOK_S = 0.05
"""How often the program looks at the running stream."""

Watch = Callable[[float, float], None]
"""Told the share that is done, 0 to 1, and the peak of the newest input, dBFS."""


def latency_s(block_samples: int, sample_rate: int) -> float:
    """What a stream is asked for so that its blocks have about `block_samples`; 0: as this program likes.

    The size itself is never asked for: with a fixed size PortAudio dropped input of a full-duplex stream without
    raising a flag (6 of 8 runs over a virtual card on a busy machine; none of 8 without one). Telling it to drop none
    is no way out: PortAudio then ended the whole program at the next underflow of the output (a failed assertion).
    """
    return BLOCKS_BUFFERED * block_samples / sample_rate if block_samples else LATENCY_S


def require_soon_silent(block_samples: int, sample_rate: int) -> None:
    """Raises DeviceError when blocks of such a size would keep the sound going after it has been told to stop."""
    most = most_samples(sample_rate)
    if block_samples > most:
        raise DeviceError(
            f"with blocks of {block_samples} samples Ctrl-C could not silence the loudspeaker at once: at "
            f"{sample_rate} Hz take {most} at most with --block"
        )


def most_samples(sample_rate: int) -> int:
    """Of a block of a stream that sounds."""
    return int(LONGEST_LATENCY_S * sample_rate / BLOCKS_BUFFERED)


def follow(
    run: Run,
    open_stream: Callable[[], Any],
    *,
    what: str,
    sample_rate: int,
    channel: int,
    watch: Watch | None,
    pauses: PauseWatch,
) -> None:
    """Open the stream that moves `run` on, and wait until it is done.

    One stream goes both ways. Two, each with its own callback and up to 0.2 s of buffer at the input, lost samples no
    less often over a virtual card on a busy machine (12 of 77 runs of 4 s; one stream: 7 of 64), and more of those
    losses raised no flag (5; one stream: 1). A loss moves what follows it, so that the check of the recording finds the
    chirps too far apart or too close.

    what      names the device in errors
    channel   input channel, counted from 1, whose level `watch` is told
    pauses    tells a stream that stood still because everything did

    Ctrl-C fades the sound out, closes the stream and raises KeyboardInterrupt. Raises DeviceError when the stream does
    not open, breaks or stands still, RecordingError when it stands still before it has sounded, and what stopped `run`
    when it stopped by itself.
    """
    library = device_library()
    try:
        with open_stream() as stream:
            try:
                _wait(run, stream, sample_rate=sample_rate, channel=channel, watch=watch, pauses=pauses)
            except KeyboardInterrupt:
                run.stop()
                run.done.wait(STALLED_S)
                raise
    except library.PortAudioError as error:
        if run.stopped is not None:
            raise run.stopped from error
        raise refused(what, error) from error
    if run.stopped is not None:
        raise run.stopped


def require_whole(run: Run, *, block_samples: int, most: int, sample_rate: int) -> None:
    """Raises RecordingError when samples were lost in `run`; it says which sizes of blocks are allowed, up to `most`
    samples."""
    if run.troubles:
        raise RecordingError(
            lost_samples_words(
                len(run.troubles), block_samples=block_samples, most_samples=most, sample_rate=sample_rate
            )
        )


def _wait(run: Run, stream: Any, *, sample_rate: int, channel: int, watch: Watch | None, pauses: PauseWatch) -> None:
    position, moved_at, paused_s = 0, time.monotonic(), pauses.paused_s()
    while not run.done.wait(LOOK_S):
        if run.position > position:
            position, moved_at = run.position, time.monotonic()
        elif time.monotonic() - moved_at > STALLED_S or not (stream.active or run.done.is_set()):
            run.stop()  # should it move once more, it fades out
            if (pause_s := pauses.paused_s() - paused_s) > 0.0:
                run.pause(pause_s)
                run.done.wait(STALLED_S)
                return
            # one that has sounded is not tried again: somebody may have come near to see what is wrong
            kind = DeviceError if run.sounded else RecordingError
            raise kind(
                f"the sound card stopped after {position / sample_rate:.1f} s: look at its cable and switch, and start "
                f"again with the same command"
            )
        if watch is not None:
            peak = run.latest_peak(channel - 1, 2 * round(LOOK_S * sample_rate))
            watch(min(position / run.length, 1.0), float(amplitude_to_db(peak)))
