"""Invented rain: a daily record and a table of depths."""

from __future__ import annotations

import numpy as np
import pandas as pd


def daily_rain(rng: np.random.Generator) -> pd.DataFrame:
    """Invented daily rain: wet and dry days by a Markov chain, depths by a gamma law [mm]."""
    days = pd.date_range("2001-01-01", "2023-12-31", freq="D")
    after_dry = np.array([.20, .22, .21, .13, .07, .05, .045, .05, .07, .105, .145, .175])
    mean = np.array([7.4, 8.0, 7.4, 5.4, 3.6, 3.0, 2.8, 3.0, 3.8, 5.0, 6.2, 7.0])
    # seasons run from July; a good season is wetter both in days and in depth
    season = {year: float(np.exp(0.16 * rng.standard_normal())) for year in range(2000, 2024)}
    rain, wet = [], False
    for day in days:
        good = season[day.year if day.month >= 7 else day.year - 1]
        m = day.month - 1
        chance = after_dry[m] * good**0.6 + (0.20 if wet else 0.0)
        wet = bool(rng.random() < chance)
        depth = rng.gamma(0.60, 0.90 * mean[m] * good**0.5 / 0.60) if wet else 0.0
        rain.append(round(float(depth), 1))
    return pd.DataFrame({"date": days.strftime("%Y-%m-%d"), "rain_mm": rain})


def depth_table() -> str:
    """Depths by duration and return period, invented: a day's depth times a share of it."""
    days = {2: 38, 5: 52, 10: 62, 25: 76, 50: 87, 100: 98}
    shares = {"5 min": 0.16, "10 min": 0.25, "15 min": 0.31, "30 min": 0.42, "1 h": 0.53,
              "2 h": 0.62, "3 h": 0.67, "6 h": 0.78, "12 h": 0.90, "24 h": 1.0}
    lines = ["duration," + ",".join(f"{years} yr mm" for years in days)]
    lines += [f"{name}," + ",".join(f"{share * depth:.1f}" for depth in days.values())
              for name, share in shares.items()]
    return "\n".join(lines) + "\n"
