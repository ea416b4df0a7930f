"""What the answers of a blind test say: right more often than by guessing, and if not, what is excluded.

A trial has two answers, and who guesses is right in half of them. Of n trials k right are reached or passed by guessing
with the probability sum_{i >= k} C(n, i) / 2^n. The share right p lies within the exact interval of Clopper and Pearson
(Biometrika 26, 1934). Who hears the difference in a share d of the trials and guesses in the others is right in
p = (1 + d) / 2 of them, so d = 2 p - 1.

Several listeners: if all guess, all their right answers together are binomial as well, so the same test holds for the
sum. For an interval of the mean share the exact one of the sum holds, too, whatever each listener's own share is: of
all sums of independent trials with the same mean the binomial scatters most (Hoeffding, Annals of Mathematical
Statistics 27, 1956; from memory). It is about these listeners. About others like them speaks the bootstrap over
listeners, from five on.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from distort.analysis.comparison.significance import ALPHA, holm

FEWEST_FOR_BOOTSTRAP = 5
BOOTSTRAP_DRAWS = 10_000
BOOTSTRAP_SEED = 1770
"""Any number does: it makes the same interval of the same answers."""


@dataclass(frozen=True, kw_only=True)
class Tally:
    """Right answers among trials."""

    right: int
    trials: int

    @property
    def share(self) -> float:
        """Share right, 0 to 1; NaN of no trials."""
        return self.right / self.trials if self.trials else float("nan")


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What the answers about one pair say."""

    together: Tally
    by_listener: tuple[Tally, ...]
    by_guessing: float
    """Probability that who only guesses is right as often or more; 1 without a trial."""
    low: float
    high: float
    """95 % interval of the share right; 0 and 1 without a trial."""
    over_listeners: bool
    """The interval holds for listeners like these, not for these alone."""
    shown: bool
    """More than guessing, at 5 % for all pairs offered together (Holm)."""


def detected(share: float) -> float:
    """In which share of the trials a difference was heard of which `share` were right: 2 p - 1, and 0 below."""
    return max(2.0 * share - 1.0, 0.0)


def by_guessing(tally: Tally) -> float:
    """Probability of as many right answers, or more, by guessing; 1 without a trial, or of none right."""
    return float(scipy.special.bdtrc(tally.right - 1, tally.trials, 0.5)) if tally.right else 1.0


def exact_interval(tally: Tally) -> tuple[float, float]:
    """The 95 % interval of the share right of Clopper and Pearson; 0 and 1 without a trial.

    Its ends are quantiles of beta distributions: low of (k, n - k + 1) at 2.5 %, high of (k + 1, n - k) at 97.5 %.
    """
    right, wrong = tally.right, tally.trials - tally.right
    low = scipy.special.betaincinv(right, wrong + 1, 0.025) if right else 0.0
    high = scipy.special.betaincinv(right + 1, wrong, 0.975) if wrong else 1.0
    return float(low), float(high)


def bootstrap_interval(listeners: Sequence[Tally]) -> tuple[float, float]:
    """The 95 % interval of the share right over listeners drawn from these with replacement (percentiles).

    Raises ValueError for fewer than five: they say too little about others.
    """
    if len(listeners) < FEWEST_FOR_BOOTSTRAP:
        raise ValueError(f"{len(listeners)} listeners are fewer than {FEWEST_FOR_BOOTSTRAP}")
    right, trials = (np.array([getattr(one, name) for one in listeners]) for name in ("right", "trials"))
    drawn = np.random.default_rng(BOOTSTRAP_SEED).integers(len(listeners), size=(BOOTSTRAP_DRAWS, len(listeners)))
    low, high = np.quantile(right[drawn].sum(axis=1) / trials[drawn].sum(axis=1), [0.025, 0.975])
    return float(low), float(high)


def judged(pairs: Sequence[Sequence[Tally]]) -> tuple[Outcome, ...]:
    """What was heard of each pair that was offered: also those that nobody tried count (Holm).

    pairs   for each pair one tally a listener, of all runs of that listener; listeners without a trial are left out

    The bootstrap knows no scatter where all listeners are alike, so the interval is never narrower than the exact one.
    """
    tried = [tuple(one for one in listeners if one.trials) for listeners in pairs]
    sums = [Tally(right=sum(one.right for one in each), trials=sum(one.trials for one in each)) for each in tried]
    chances = [by_guessing(one) for one in sums]
    shown = holm([np.array(chances)], ALPHA)[0] if chances else np.zeros(0, dtype=np.bool_)
    return tuple(
        _outcome(listeners, together, chance=chance, shown=bool(beyond))
        for listeners, together, chance, beyond in zip(tried, sums, chances, shown, strict=True)
    )


def _outcome(listeners: tuple[Tally, ...], together: Tally, *, chance: float, shown: bool) -> Outcome:
    low, high = exact_interval(together)
    over_listeners = len(listeners) >= FEWEST_FOR_BOOTSTRAP
    if over_listeners:
        drawn_low, drawn_high = bootstrap_interval(listeners)
        low, high = min(low, drawn_low), max(high, drawn_high)
    return Outcome(
        together=together,
        by_listener=listeners,
        by_guessing=chance,
        low=low,
        high=high,
        over_listeners=over_listeners,
        shown=shown,
    )
