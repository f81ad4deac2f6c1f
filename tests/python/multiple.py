"""Holm's correction from statsmodels."""

from exchange import answer, asked
from statsmodels.stats.multitest import multipletests

answer(holm=[p for case in asked()["cases"] for p in multipletests(case, method="holm")[1]])
