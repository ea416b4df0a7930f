"""Lengths of transforms."""


def fast_length(least: int) -> int:
    """The lowest number from `least` (1 or above) on that has no other prime factors than 2, 3 and 5.

    Transforms of such a length are fast. As scipy.fft.next_fast_len for real ones, without scipy.
    """
    best = 1 << (least - 1).bit_length()
    fives = 1
    while fives < best:
        odd = fives
        while odd < best:
            best = min(best, odd << (-(-least // odd) - 1).bit_length())
            odd *= 3
        fives *= 5
    return best
