"""Equivalence (TOST) and one-sided t tests of two samples from statsmodels."""

import numpy as np
from exchange import answer, asked
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW, ttost_ind, ttost_paired

low, high, p_equivalent, p_apart = [], [], [], []
for case in asked()["cases"]:
    one, two = np.array(case["one"]), np.array(case["two"])
    limit, alpha = case["tolerance"], 2 * case["alpha"]
    pairs = DescrStatsW(one - two)
    means = CompareMeans(DescrStatsW(one), DescrStatsW(two))
    ends = [pairs.tconfint_mean(alpha)]
    equivalent = [ttost_paired(one, two, -limit, limit)[0]]
    above = [pairs.ttest_mean(limit, "larger")[1]]
    below = [pairs.ttest_mean(-limit, "smaller")[1]]
    for scatter in ("unequal", "pooled"):
        ends.append(means.tconfint_diff(alpha, usevar=scatter))
        equivalent.append(ttost_ind(one, two, -limit, limit, usevar=scatter)[0])
        above.append(means.ttest_ind("larger", scatter, value=limit)[1])
        below.append(means.ttest_ind("smaller", scatter, value=-limit)[1])
    low += [end[0] for end in ends]
    high += [end[1] for end in ends]
    p_equivalent += equivalent
    p_apart += [min(a, b) for a, b in zip(above, below)]
answer(low=low, high=high, p_equivalent=p_equivalent, p_apart=p_apart)
