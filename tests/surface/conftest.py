"""Hypothesis: the same examples every time, and no time limit, as the first compiles kernels."""

from hypothesis import settings

settings.load_profile("ci")
