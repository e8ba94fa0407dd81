"""Depths of water as colours, and what each colour means."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.outputs.proof.words import deep

#: Depths at which a colour begins [m], and the colours, from thin to deep.
DEPTHS = (0.005, 0.02, 0.05, 0.10, 0.20, 0.50)
BLUES = ("#bfdfe9", "#8fc4da", "#5a9fc4", "#2f77a6", "#1a4c80", "#0c274d")
#: How opaque they lie over the ground.
OPAQUE = 235


def depth_classes(depth: NDArray[Any]) -> NDArray[np.uint8]:
    """How many of `DEPTHS` [m] a depth reaches; 0 where the ground is only wet or unknown."""
    found: NDArray[np.uint8] = np.digitize(np.nan_to_num(depth), DEPTHS).astype(np.uint8)
    return found


def water_colours(depth: NDArray[Any]) -> NDArray[np.uint8]:
    """Depths [m] as colours, shape (rows, columns, 4); clear where the ground is only wet."""
    return np.array([(0, 0, 0, 0), *((*parts, OPAQUE) for parts in rgb())],
                    np.uint8)[depth_classes(depth)]


def rgb() -> list[tuple[int, int, int]]:
    """The colours as red, green and blue of 0 to 255."""
    return [(int(c[1:3], 16), int(c[3:5], 16), int(c[5:7], 16)) for c in BLUES]


def depth_legend(system: str) -> list[tuple[str, str]]:
    """Each colour with the depths that it stands for, from thin to deep."""
    words = [deep(depth, system) for depth in DEPTHS]
    return [(colour, f"{low.split(' ')[0]} to {high}" if high else f"over {low}")
            for colour, low, high in zip(BLUES, words, [*words[1:], ""], strict=True)]
