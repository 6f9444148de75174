"""How many animals the whole tray held when only a share of it was sorted.

Assumes that each animal was in the sorted share with the same chance and on its own: a well stirred tray,
evenly divided. Animals that cling together make the true limits wider.
"""

import math
from statistics import NormalDist

CONFIDENCE = 0.95


def whole_tray_limits(found: float, fraction: float) -> tuple[int, int]:
    """Return the lowest and highest number in the tray that fit so many found in a share of it (95 %).

    Wilson's score limits (1927, J. Am. Stat. Assoc. 22: 209-212), solved for the number of trials N, from
    (found - N f)^2 = z^2 N f (1 - f). The lower one is never below what was found. Raises ValueError for a
    negative number and for a fraction outside 0 to 1.
    """
    if found < 0 or not 0 < fraction <= 1:
        raise ValueError("a share of the tray lies above 0 and is at most 1, and holds 0 or more animals")
    spread = NormalDist().inv_cdf((1 + CONFIDENCE) / 2) ** 2 * (1 - fraction)
    middle, width = 2 * found + spread, math.sqrt(spread * (spread + 4 * found))
    low, high = ((middle + side * width) / (2 * fraction) for side in (-1, 1))
    # Rounded first: a stray last digit must not shift a whole number. The number scaled up stays inside.
    likely = math.ceil(round(found / fraction, 6))
    return max(math.ceil(round(low, 6)), math.ceil(found)), max(math.floor(round(high, 6)), likely)
