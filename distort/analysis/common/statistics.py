"""Numbers of statistics that every interval is made with."""

import numpy as np

TWO_SIDED_95 = 1.959964
"""Normal quantile: 95 % of a normal variable lie within this many standard deviations of its mean."""

ONE_SIDED_95 = 1.644854
"""The same for one side: 95 % lie below the mean and this many standard deviations."""

DB_PER_NEPER_OF_POWER = 10.0 / np.log(10.0)
"""dB that a power changes by, per its relative change, while that is small: 4.34."""
