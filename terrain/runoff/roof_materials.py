"""What share of the rain on a roof reaches its gutter, by what the roof is made of."""

from __future__ import annotations

import difflib
from dataclasses import dataclass

_AGRODOK = ("Worm & van Hattum, Rainwater Harvesting for Domestic Use, Agrodok 43, 2006, from "
            "memory")
_TRAINERS = "Rainwater Harvesting Trainers Manual, chapter 3, India Water Portal"
_PRACTICE = "common practice, no source"
#: Of roofs of which nothing is known; Home Power, Sizing a whole-house rainwater system: 0.90 at
#: most; Texas Water Development Board, Texas Manual on Rainwater Harvesting, 3rd ed., 2005: 0.75
#: to 0.90, from memory.
OTHERWISE = 0.9


@dataclass(frozen=True)
class Material:
    """A roof's material: published shares of its rain that it gives, and who says so.

    Attributes
    ----------
    low, high : float
        Equal where one figure is published. [-]
    source : str
    unfit : bool
        Not to be drunk from even when treated: bitumen, thatch, a tarpaulin of unknown make.
    """

    low: float
    high: float
    source: str
    unfit: bool = False

    @property
    def share(self) -> float:
        """The middle of what is published, which is counted on. [-]"""
        return (self.low + self.high) / 2


MATERIALS: dict[str, Material] = {
    "metal sheet": Material(0.90, 0.90, _AGRODOK + ": above 0.9"),
    "corrugated metal": Material(0.70, 0.90, _TRAINERS),
    "aluminium sheet": Material(0.80, 0.90, _AGRODOK),
    "tiles": Material(0.80, 0.90, _TRAINERS),
    "glazed tiles": Material(0.60, 0.90, _AGRODOK),
    "flat cement": Material(0.60, 0.70, _AGRODOK),
    "thatch": Material(0.20, 0.20, _AGRODOK, True),
    "bitumen shingles": Material(0.75, 0.90, "Texas Water Development Board, Texas Manual on "
                                 "Rainwater Harvesting, 3rd ed., 2005: any system, from memory",
                                 True),
    "tarpaulin": Material(0.70, 0.80, _PRACTICE, True),
    "concrete ground": Material(0.60, 0.80, _TRAINERS, True),
    "brick paving": Material(0.50, 0.60, _TRAINERS, True),
    "rock": Material(0.20, 0.50, _TRAINERS, True),
}


def material_named(word: str) -> Material:
    """Look a material up by the word of the site file or layer.

    Raises
    ------
    ValueError
        If it is not known; the nearest ones are named.
    """
    plain = " ".join(word.lower().split())
    if plain not in MATERIALS:
        near = difflib.get_close_matches(plain, MATERIALS, 1, 0.5)
        raise ValueError(f"the material '{word}' is not known (" + (
            f"the nearest is '{near[0]}'" if near else "there are: " + ", ".join(MATERIALS)) + ")")
    return MATERIALS[plain]
