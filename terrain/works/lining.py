"""Velocities that linings of channels and sills stand, and which soils are easily eroded."""

from __future__ import annotations

import csv
from functools import lru_cache
from importlib import resources

from terrain.works.rules import Rulebook

#: Cover of `grass_velocities.csv` that stands for a lining of grass.
GRASS = "grass mixtures, reed canarygrass"
#: Soils without cohesion are easily eroded, and clay resists (USDA SCS-TP-61, 1954, on its two
#: kinds of soil, from memory); loam is taken as easily eroded: common practice, no source.
ERODIBLE = {"clay": False, "loam": True, "sand": True}
#: What a lining is called in a sentence.
CALLED = {"bare": "bare earth", "grass": "grass", "stone": "stone"}


@lru_cache(maxsize=1)
def _grass() -> dict[str, dict[str, str]]:
    text = resources.files("terrain.works").joinpath("grass_velocities.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return {row["cover"]: row for row in rows}


def grass_velocity(grade: float, erodible: bool, cover: str = GRASS) -> float | None:
    """Velocity that a grassed channel stands; None where grass is not recommended. [m/s]

    Parameters
    ----------
    grade : float
        [m/m]
    erodible : bool
        Whether the soil is easily eroded.
    cover : str
        A row of the table.

    References
    ----------
    .. [1] USDA SCS-TP-61, Handbook of Channel Design for Soil and Water Conservation, 1954.
    """
    steep = "0_5pct" if grade <= 0.05 else "5_10pct" if grade <= 0.10 else "over_10pct"
    given = _grass()[cover][f"{'erodible' if erodible else 'resistant'}_{steep}"]
    return float(given) * 0.3048 if given else None


def permissible(lining: str, grade: float, erodible: bool, rules: Rulebook
                ) -> tuple[float | None, str]:
    """Velocity that a lining stands [m/s], None where it stands none; and the source."""
    if lining == "grass":
        return grass_velocity(grade, erodible), "USDA SCS-TP-61, 1954, grass mixtures"
    name = ("stone velocity" if lining == "stone" else
            "erodible soil velocity" if erodible else "resistant soil velocity")
    return rules[name], f"{name}, {rules.source(name)}"
