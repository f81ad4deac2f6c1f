"""A straight line with errors in both variables by scipy.odr."""

import numpy as np
from exchange import answer, asked
from scipy import odr

columns = {name: [] for name in ("slope", "intercept", "slope_sd", "slant", "x_error", "fitted")}
for case in asked()["cases"]:
    x, y = np.array(case["x"]), np.array(case["y"])
    data = odr.RealData(x, y, sx=1.0, sy=np.sqrt(case["ratio"]))
    start = np.polyfit(x, y, 1)
    fit = odr.ODR(data, odr.unilinear, beta0=start, sstol=1e-15, partol=1e-15, maxit=500)
    # Derivatives by formula: those by differences cost its covariance five digits.
    fit.set_job(deriv=3)
    line = fit.run()
    columns["slope"].append(line.beta[0])
    columns["intercept"].append(line.beta[1])
    columns["slope_sd"].append(line.sd_beta[0])
    columns["slant"].append(line.cov_beta[0, 1] / line.cov_beta[0, 0])
    # With sx = 1 the residual variance is the variance of the error of x.
    columns["x_error"].append(line.res_var)
    columns["fitted"].append(np.var(line.xplus, ddof=1))
answer(**columns)
