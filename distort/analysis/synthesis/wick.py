"""Products of Gaussian signals without what their mean square makes of lower orders: Wick's order.

    :u^q x^p: = sum over i, j, k (-1)^(i+j+k) q! p! / (2^i i! j! 2^k k! (q-2i-j)! (p-j-2k)!)
                <uu>^i <ux>^j <xx>^k u^(q-2i-j) x^(p-j-2k)

i, j and k count the pairs taken out of u with u, u with x and x with x (Isserlis, Biometrika 12, 1918; Janson, Gaussian
Hilbert Spaces, ch. 3, both from memory). For q = 0 these are Hermite's polynomials. Such a product does not correlate
with any of a lower order: what x^3 changes in the gain of x is in the gain that was measured, not in the product.
"""

from dataclasses import dataclass
from math import factorial

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Pairs:
    """Mean products of u and x: one number for a steady signal, or `(samples,)` where they follow the time."""

    uu: FloatArray | float
    ux: FloatArray | float
    xx: FloatArray | float


def pairs_of(u: FloatArray, x: FloatArray) -> Pairs:
    """Over all samples."""
    return Pairs(uu=float(np.mean(u * u)), ux=float(np.mean(u * x)), xx=float(np.mean(x * x)))


def wick_product(u: FloatArray, x: FloatArray, *, of_u: int, of_x: int, pairs: Pairs) -> FloatArray:
    """`:u^q x^p:`, `(samples,)`, with q = `of_u` and p = `of_x`."""
    powers_u, powers_x = _powers(u, of_u), _powers(x, of_x)
    found = np.zeros(x.size)
    for i in range(of_u // 2 + 1):
        for j in range(min(of_u - 2 * i, of_x) + 1):
            for k in range((of_x - j) // 2 + 1):
                left_u, left_x = of_u - 2 * i - j, of_x - j - 2 * k
                ways = factorial(of_u) * factorial(of_x) / (2 ** (i + k) * factorial(i) * factorial(j) * factorial(k))
                ways /= factorial(left_u) * factorial(left_x)
                taken_out = (-1) ** (i + j + k) * ways * pairs.uu**i * pairs.ux**j * pairs.xx**k
                found += taken_out * powers_u[left_u] * powers_x[left_x]
    return found


def _powers(signal: FloatArray, highest: int) -> list[FloatArray]:
    powers = [np.ones(signal.size)]
    for _ in range(highest):
        powers.append(powers[-1] * signal)
    return powers
