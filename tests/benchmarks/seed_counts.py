"""How often the limits of seeds per gram hold, by hand: ``.venv/bin/python -m tests.benchmarks.seed_counts``.

Made-up sacks over a written grid: mean seeds a gram, clumping k (variance = mean + mean^2/k; none = well mixed), and
sub-samples of one gram. Ends with an error if the 90 % limits hold in fewer than 88 % of the cases of a cell, or not
in 88 to 97 % on average; cells that miss are named.
"""

import sys
from itertools import product

import numpy as np

from modelling.core.sampling import stream
from modelling.core.seed_counts import clumped
from tests.benchmarks.shared import machine, say

SMALL = "--small" in sys.argv
TIMES = 20 if SMALL else 2000
MEANS, CLUMPS, SAMPLES = (1, 3, 12), (1, 3, 10, None), (3, 6, 10)
LEAST, MOST = 0.88, 0.97


def held(mean: float, k: int | None, samples: int) -> float:
    """Share of cases in which the true mean lies inside."""
    rng = stream(1, "coverage", f"{mean}/{k}/{samples}")
    hits = 0
    for _ in range(TIMES):
        rates = np.full(samples, mean) if k is None else rng.gamma(k, mean / k, samples)
        counts = rng.poisson(rates).astype(np.float64)
        limits = clumped(counts, np.ones(samples), 1.0).limits(counts.mean(), 0.9, none_seen=not counts.sum())
        hits += limits.low <= mean <= limits.high
    return hits / TIMES


def main() -> None:
    say(machine())
    say(f"share of {TIMES} made-up sacks whose true mean lies inside the 90 % limits")
    say("mean a gram, k: 3, 6, 10 sub-samples")
    found = {cell: held(*cell) for cell in product(MEANS, CLUMPS, SAMPLES)}
    for mean, k in product(MEANS, CLUMPS):
        words = ", ".join(f"{found[mean, k, samples]:.3f}" for samples in SAMPLES)
        say(f"{mean}, {'well mixed' if k is None else k}: {words}")
    average, missed = np.mean(list(found.values())), [cell for cell, share in found.items() if share < LEAST]
    say(f"on average {average:.3f}; below {LEAST}: {missed or 'none'}")
    if not SMALL and (missed or not LEAST <= average <= MOST):
        sys.exit("The limits do not hold as often as they say.")


if __name__ == "__main__":
    main()
