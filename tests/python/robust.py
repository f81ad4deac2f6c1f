"""Medians, quantiles and the Hampel filter by numpy and scipy, window by window."""

import numpy as np
from exchange import answer, asked
from scipy.signal import medfilt
from scipy.stats import median_abs_deviation

q = asked()
mads, scaled, quantiles, medians, filtered, wild = [], [], [], [], [], []
for x in map(np.array, q["series"]):
    mads.append(median_abs_deviation(x))
    scaled.append(median_abs_deviation(x, scale="normal"))
    quantiles += list(np.quantile(x, q["quantiles"]))
    for half in q["half"]:
        windows = [x[max(0, i - half) : i + half + 1] for i in range(len(x))]
        median = np.array([np.median(w) for w in windows])
        if len(x) > 2 * half:
            # Where the window is whole, the filter of scipy.
            median[half:-half] = medfilt(x, 2 * half + 1)[half:-half]
        spread = np.array([median_abs_deviation(w, scale="normal") for w in windows])
        far = np.abs(x - median) > q["threshold"] * spread
        medians += list(median)
        filtered += list(np.where(far, median, x))
        wild += list(far)
answer(
    mad=mads, scaled=scaled, quantiles=quantiles, medians=medians, filtered=filtered, wild=wild
)
