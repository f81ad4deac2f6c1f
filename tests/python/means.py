"""Intervals of the mean of a correlated series, from the parts that statsmodels and scipy have."""

import numpy as np
import statsmodels.api as sm
from exchange import answer, asked
from scipy.fft import dct
from scipy.stats import t
from statsmodels.stats.sandwich_covariance import S_hac_simple
from statsmodels.stats.weightstats import DescrStatsW
from statsmodels.tsa.stattools import acf, levinson_durbin_pacf, pacf_burg


def newey_west(x, lags):
    hac = {"maxlags": lags, "use_correction": True}
    fit = sm.OLS(x, np.ones(len(x))).fit(cov_type="HAC", cov_kwds=hac, use_t=True)
    low, high = fit.conf_int(0.05)[0]
    return fit.bse[0], 0.5 * (high - low)


def plain(x):
    low, high = DescrStatsW(x).tconfint_mean(0.05)
    return 0.5 * (high - low)


def first_order(x):
    """Slope on the value before, without a constant, and what is left."""
    fit = sm.OLS(x[1:], x[:-1]).fit()
    return fit.params[0], fit


def prewhitened_kernel(x):
    d = x - x.mean()
    a = np.clip(first_order(d)[0], -0.97, 0.97)
    e = d[1:] - a * d[:-1]
    r = first_order(e)[0]
    # Andrews (1991): automatic bandwidth of the quadratic-spectral kernel, first-order plug-in.
    bandwidth = 1.3221 * (4 * r**2 / (1 - r) ** 4 * len(x)) ** 0.2
    lags = min(len(e) - 1, int(8 * bandwidth))

    def weights(count):
        u = np.arange(1, count + 1) / bandwidth
        z = 6 * np.pi * u / 5
        spectral = 25 / (12 * np.pi**2 * u**2) * (np.sin(z) / z - np.cos(z))
        return np.concatenate([[1.0], spectral])

    s = S_hac_simple(e, nlags=lags, weights_func=weights)[0, 0] / len(x)
    return 1.96 * np.sqrt(max(s, 0) / (1 - a) ** 2 / len(x))


def batches(x, count):
    size = len(x) // count
    return plain(x[: size * count].reshape(count, size).mean(axis=1))


def cosines(x, count):
    wave = dct(x - x.mean(), norm="ortho")[1 : count + 1]
    return np.sqrt((wave**2).mean() / len(x)) * t.ppf(0.975, count)


def autoregression(x):
    n = len(x)
    d = x - x.mean()
    most = int(8 * np.log10(n))
    reflections = pacf_burg(d, most, demean=False).pacf
    best = None
    start, gain, left = 0.0, 1.0, 1.0
    for order in range(most + 1):
        if order > 0:
            start += gain**2 / left
            gain = 1 - levinson_durbin_pacf(reflections[: order + 1]).arcoefs.sum()
            # The innovation variance by Levinson's recursion, of which statsmodels has another
            # estimate, from the last errors alone.
            left *= 1 - reflections[order] ** 2
        variance = (d**2).mean() * left
        score = n * np.log(variance) + 2 * (order + 2) * n / (n - order - 3)
        if best is None or score < best[0]:
            best = score, gain, start * left, variance, order
    _, gain, share, variance, order = best
    relative = share / (n * gain**2)
    dof = 1 / (2 * relative + 1 / (n - order - 1))
    u = np.sqrt(variance / (n - order - 1)) / gain * (1 + relative)
    return u * t.ppf(0.975, max(dof, 0.5))


q = asked()
series = [np.array(x) for x in q["series"]]
answer(
    newey_west_u=[newey_west(x, lags)[0] for x in series for lags in q["lags"]],
    newey_west=[newey_west(x, int(4 * (len(x) / 100) ** (2 / 9)))[1] for x in series],
    naive=[plain(x) for x in series],
    prewhitened_kernel=[prewhitened_kernel(x) for x in series],
    eight_batches=[batches(x, 8) for x in series],
    advised_cosines=[cosines(x, int(0.4 * len(x) ** (2 / 3))) for x in series],
    six_cosines=[cosines(x, 6) for x in series],
    autoregression=[autoregression(x) for x in series],
    mean=[DescrStatsW(x).mean for x in series],
    sd=[DescrStatsW(x, ddof=1).std for x in series],
    acf=[r for x in series for r in acf(x, nlags=5, fft=False)[1:]],
)
