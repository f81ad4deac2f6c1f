"""Holm's correction from statsmodels."""

import gc

from exchange import answer, asked
from statsmodels.stats.multitest import multipletests

# multipletests collects garbage at every call: what is imported need not be walked each time.
gc.freeze()
answer(holm=[p for case in asked()["cases"] for p in multipletests(case, method="holm")[1]])
