"""A frame as a complex envelope, with the room in it known from the frame's own beginning.

With x the recording, f the frame's frequency and w a Hann window over three steps (a step is whole periods, so that its
zeros lie at all harmonics, at -2 f and at direct current),

    Y(t) = (w * x exp(-2 pi i f t)) / (the same in the steady end of the first probe)

Y is 1 where loudspeaker and room have settled to the probe. Whatever changes the amplitude in a frame has an edge of
the same two periods, so the way Y rises at the beginning of the frame, S(t), is how loudspeaker and room answer any
step of amplitude. With V_k the amplitude sent into the room in step k, in units of the probe,

    Y_j = 1 + sum over k of (V_k - V_(k-1)) S_(j-k)                    V_k = 1 before the test

which is linear in V, holds in any room and through any filter, and needs neither the response nor the reverberation
time.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.convolution import convolved
from signals.frames import Frame, Frames

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

WINDOW_STEPS = 3
BEFORE_STEPS = 2
"""The window reaches so far before an edge."""

SETTLED_SHARE = 0.5
"""Of the first probe, its end: what is steady there is the unit."""


@dataclass(frozen=True, kw_only=True)
class Baseband:
    """One frame, a value a step."""

    frame: Frame
    envelope: ComplexArray
    """Y, `(steps,)`: step k is k steps after the test began to rise."""
    step_answer: ComplexArray
    """S, `(steps,)`: from `BEFORE_STEPS` steps before an edge on."""
    noise: float
    """Standard deviation of Y by noise, both parts together, in units of the probe."""

    @property
    def hold_steps(self) -> int:
        """How many steps the test lasts."""
        return round(self.frame.hold_s / self.frame.step_s)

    @property
    def loud(self) -> float:
        """Amplitude of the test as played, in units of the probe."""
        return float(10.0 ** (self.frame.series.below_db / 20.0))

    def through_room(self, sent: npt.ArrayLike) -> ComplexArray:
        """Y, `(steps,)`, for the amplitudes `sent`, `(steps,)`, in units of the probe."""
        jumps = np.diff(np.asarray(sent, dtype=np.complex128), prepend=1.0)
        size, answer = self._answer_spectrum
        answered = scipy.fft.ifft(scipy.fft.fft(jumps, size) * answer)[BEFORE_STEPS:]
        return np.asarray(1.0 + answered[: self.envelope.size])

    @cached_property
    def _answer_spectrum(self) -> tuple[int, ComplexArray]:
        """Length of a transform that holds the whole answer to all steps, and that of S."""
        size = int(scipy.fft.next_fast_len(2 * self.step_answer.size))
        return size, np.asarray(scipy.fft.fft(self.step_answer, size))


def baseband(takes: Sequence[FloatArray], frame: Frame) -> Baseband:
    """The mean of all takes of a frame. Each is `(samples,)` at the series's sample rate and begins `pad_s(frame)`
    before the frame arrives; it lasts to the frame's end."""
    each = [_one(samples, frame) for samples in takes]
    envelope = np.mean([one[0] for one in each], axis=0)
    rising = np.mean([one[1] for one in each], axis=0)
    settled = rising[round(SETTLED_SHARE * rising.size) :]
    # neighbours share two thirds of their windows, so the scatter of a stretch is a little less than its noise
    noise = float(np.sqrt(np.sum(np.square(np.abs(settled - np.mean(settled)))) / max(settled.size - WINDOW_STEPS, 1)))
    tail = np.ones(max(envelope.size + BEFORE_STEPS - rising.size, 0))
    return Baseband(
        frame=frame,
        envelope=envelope,
        step_answer=np.concatenate([rising, tail])[: envelope.size + BEFORE_STEPS],
        noise=noise,
    )


def pad_s(frame: Frame) -> float:
    """What a window needs before the first step."""
    return (BEFORE_STEPS + WINDOW_STEPS) * frame.step_s


def _one(samples: FloatArray, frame: Frame) -> tuple[ComplexArray, ComplexArray]:
    """Y from the test on, and S as long as the first probe lasts."""
    rate = frame.series.sample_rate
    time_s = np.arange(samples.size) / rate - pad_s(frame)
    down = samples * np.exp(-2j * np.pi * frame.frequency_hz * time_s)
    half_s = 0.5 * WINDOW_STEPS * frame.step_s
    reach = int(half_s * rate)
    window = 0.5 + 0.5 * np.cos(np.pi * np.arange(-reach, reach + 1) / rate / half_s)
    smooth = convolved(down, window / np.sum(window))

    def at(when_s: FloatArray) -> ComplexArray:
        return np.asarray(np.interp(when_s, time_s, smooth.real) + 1j * np.interp(when_s, time_s, smooth.imag))

    lead = int(frame.test_s / frame.step_s) - BEFORE_STEPS
    rising = at(np.arange(-BEFORE_STEPS, lead, dtype=np.float64) * frame.step_s)
    unit = np.mean(rising[round(SETTLED_SHARE * rising.size) :])
    steps = int((frame.end_s - frame.test_s) / frame.step_s) - BEFORE_STEPS
    return at(frame.test_s + np.arange(steps, dtype=np.float64) * frame.step_s) / unit, rising / unit


def cut(samples: FloatArray, start: float, frames: Frames, index: int) -> FloatArray:
    """One frame of a recording as `baseband` wants it.

    start   where the series arrives, samples, fractions included
    """
    frame = frames.frames[index]
    first = start + frames.starts[index] - pad_s(frame) * frames.sample_rate
    length = int((pad_s(frame) + frame.sounding_s) * frames.sample_rate)
    wanted = round(first) + np.arange(length)
    inside = (wanted >= 0) & (wanted < samples.size)
    return np.where(inside, samples[np.clip(wanted, 0, samples.size - 1)], 0.0)
