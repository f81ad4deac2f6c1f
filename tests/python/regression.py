"""Least squares and autoregressions from statsmodels."""

import numpy as np
import statsmodels.api as sm
from exchange import answer, asked
from statsmodels.regression.linear_model import yule_walker

q = asked()
lists = {}
if q["what"] == "fit":
    for k, case in enumerate(q["cases"]):
        y, columns = np.array(case["y"]), np.array(case["columns"]).T
        weights = np.array(case["u"]) ** -2.0
        fits = {"plain": sm.OLS(y, columns).fit(), "weighted": sm.WLS(y, columns, weights).fit()}
        for name, fit in fits.items():
            lists[f"{name}_values_{k}"] = fit.params
            lists[f"{name}_sds_{k}"] = fit.bse
            lists[f"{name}_scale_{k}"] = fit.scale
        fixed = sm.WLS(y, columns, weights).fit(cov_type="fixed scale")
        lists[f"known_{k}"] = fixed.cov_params().ravel()
else:
    for k, x in enumerate(q["series"]):
        for order in q["orders"]:
            phi, sigma = yule_walker(np.array(x), order, method="mle", demean=False)
            lists[f"phi_{k}_{order}"] = phi
            lists[f"sigma_{k}_{order}"] = sigma
answer(**lists)
