"""Diversity of the dune meadow by another program beside ours."""

import numpy as np
import pytest
from skbio.diversity import alpha, beta_diversity

from modelling.core.outcomes import diversity, similarity
from tests.core.conftest import worked_examples

SITES = worked_examples("dune_meadow")
CODES = [column for column in SITES[0] if column != "site"]
CLASSES = np.array([[int(site[code]) for code in CODES] for site in SITES])


@pytest.mark.parametrize("site", range(len(SITES)))
def test_shannon_simpson_and_evenness_are_those_of_scikit_bio(site):
    values = CLASSES[site]
    floats = values.astype(float)
    assert diversity.richness(floats) == alpha.sobs(values)
    assert diversity.shannon(floats) == pytest.approx(alpha.shannon(values, base=np.e), abs=1e-12)
    assert diversity.simpson(floats) == pytest.approx(alpha.simpson(values), abs=1e-12)
    assert diversity.simpson_sum(floats) == pytest.approx(alpha.dominance(values), abs=1e-12)
    assert diversity.hill(floats, 2) == pytest.approx(alpha.enspie(values), abs=1e-12)
    assert diversity.evenness(floats) == pytest.approx(alpha.pielou_e(values), abs=1e-12)


@pytest.mark.parametrize("metric", ["braycurtis", "jaccard", "dice"])
def test_likeness_of_all_pairs_is_that_of_scikit_bio(metric):
    found = beta_diversity(metric, CLASSES if metric == "braycurtis" else CLASSES > 0)
    for i in range(len(SITES)):
        for j in range(i + 1, len(SITES)):
            one, other = ({c: float(x) for c, x in zip(CODES, CLASSES[k], strict=True) if x} for k in (i, j))
            likeness = {
                "braycurtis": lambda a, b: similarity.bray_curtis(a, b),
                "jaccard": lambda a, b: similarity.jaccard(a.keys(), b.keys()),
                "dice": lambda a, b: similarity.sorensen(a.keys(), b.keys()),
            }[metric](one, other)
            assert 1 - likeness == pytest.approx(found[i, j], abs=1e-12)
