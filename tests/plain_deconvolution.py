"""An independent reading of swept recordings, with numpy alone: it shares no line with the analysis.

The spectrum of the recording over that of the stimulus, regularised, is an impulse response in which order n lies
`L ln n` early (Farina, AES 108th Convention, 2000). Each order is cut out under a window of its own, the fundamental
under one of the same shape, so that a room's decay is cut alike in both; powers are averaged over a band, then divided.
"""

import numpy as np


def impulse_response(recording: np.ndarray, stimulus: np.ndarray) -> np.ndarray:
    """Circular, and long enough to hold both."""
    n = 9 << int(np.ceil(np.log2((recording.size + stimulus.size) / 9)))  # a length of quick transforms
    played, heard = np.fft.rfft(stimulus, n), np.fft.rfft(recording, n)
    power = np.abs(played) ** 2
    return np.fft.irfft(heard * np.conj(played) / (power + 1e-8 * power.max()), n)


def cut(response: np.ndarray, place: float, before: int, after: int) -> np.ndarray:
    """Samples about `place`, under the window whose lengths and edges `distort methods` states: noise is read in it."""
    at = (round(place) - before + np.arange(before + after)) % response.size
    window = np.ones(before + after)
    rise, fall = round(0.7 * before), round(0.5 * after)
    window[:rise] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(rise) + 0.5) / rise)
    window[-fall:] = 0.5 + 0.5 * np.cos(np.pi * (np.arange(fall) + 0.5) / fall)
    return response[at] * window


def band_power(piece: np.ndarray, rate: int, at_hz: np.ndarray, octaves: float) -> np.ndarray:
    """Mean power of the spectrum of `piece` within `octaves` about each frequency."""
    n = 1 << int(np.ceil(np.log2(2 * piece.size)))
    power = np.concatenate([[0.0], np.cumsum(np.abs(np.fft.rfft(piece, n)) ** 2)])
    low = np.round(at_hz * 2.0 ** (-octaves / 2) * n / rate).astype(int)
    high = np.maximum(np.round(at_hz * 2.0 ** (octaves / 2) * n / rate).astype(int), low + 1)
    return (power[high] - power[low]) / (high - low)


def order_powers(
    response: np.ndarray, order: int, at_hz: np.ndarray, *, start: float, rate: int, growth_s: float, octaves: float
) -> tuple[np.ndarray, np.ndarray]:
    """Of `order` and of the fundamental under the same window, at the excitations `at_hz`; any unit, alike for both.

    start      where the fundamental lies, samples
    growth_s   L, in which the frequency grows e-fold
    """
    before = round(0.45 * growth_s * np.log((order + 1) / order) * rate)
    after = round(0.6 * growth_s * np.log(order / (order - 1)) * rate)
    own = cut(response, start - growth_s * np.log(order) * rate, before, after)
    tone = cut(response, start, before, after)
    return band_power(own, rate, order * at_hz, octaves), band_power(tone, rate, at_hz, octaves)


def noise_powers(
    silences: list[np.ndarray],
    stimulus: np.ndarray,
    order: int,
    at_hz: np.ndarray,
    *,
    size: int,
    rate: int,
    growth_s: float,
    octaves: float,
) -> tuple[np.ndarray, np.ndarray]:
    """What steady noise, as the silences hold it, leaves in both windows of `order_powers`.

    Noise of density S through a filter G and a window w has the expected power S |G|^2 sum(w^2); S from periodograms of
    half a second, `size` the length of the response.
    """
    block = rate // 2
    window = np.hanning(block)
    pieces = [one[first : first + block] for one in silences for first in range(0, one.size - block + 1, block // 4)]
    periodograms = [np.abs(np.fft.rfft((piece - piece.mean()) * window)) ** 2 for piece in pieces]
    density = np.mean(periodograms, axis=0) / np.sum(window**2)
    played = np.abs(np.fft.rfft(stimulus, size)) ** 2
    at = np.fft.rfftfreq(size, 1.0 / rate)
    through = np.interp(at, np.fft.rfftfreq(block, 1.0 / rate), density) * played / (played + 1e-8 * played.max()) ** 2
    before = round(0.45 * growth_s * np.log((order + 1) / order) * rate)
    after = round(0.6 * growth_s * np.log(order / (order - 1)) * rate)
    energy = np.sum(cut(np.ones(size), 0.0, before, after) ** 2)
    total = np.concatenate([[0.0], np.cumsum(through)])

    def mean_about(hz: np.ndarray) -> np.ndarray:
        low = np.round(hz * 2.0 ** (-octaves / 2) * size / rate).astype(int)
        high = np.maximum(np.round(hz * 2.0 ** (octaves / 2) * size / rate).astype(int), low + 1)
        return energy * (total[high] - total[low]) / (high - low)

    return mean_about(order * at_hz), mean_about(at_hz)
