"""Student's t and the normal distribution from scipy.stats."""

import numpy as np
from exchange import answer, asked
from scipy.stats import norm, t

q = asked()
if q["what"] == "quantile":
    p = np.array(q["at"])
    answer(t=t.ppf(p, q["dof"]), normal=norm.ppf(np.array(p[: len(p) // len(set(q["dof"]))])))
elif q["what"] == "cdf":
    at = np.array(q["at"])
    answer(
        t=t.cdf(at, q["dof"]),
        density=t.pdf(at, q["dof"]),
        normal=norm.cdf(at[: len(at) // len(set(q["dof"]))]),
    )
else:
    value, u, dof, low, high = (np.array(q[k]) for k in ("value", "u", "dof", "low", "high"))
    low, high = (low - value) / u, (high - value) / u

    def between(law):
        """The difference of the smaller tails, which loses nothing."""
        above = law.sf(low) - law.sf(high)
        return np.where(low > 0, above, law.cdf(high) - law.cdf(low))

    answer(t=between(t(dof)), normal=between(norm()))
