"""The side of a cell in sentences, in the units at hand."""

from __future__ import annotations

from terrain.units import first_system, in_both, metres_in


def cells_of(cell: float) -> str:
    """As in "cells of 0.50 m (1.64 ft)". [m]"""
    return f"cells of {in_both(cell, 'length')}"


def cell_option(cell: float) -> str:
    """The option that asks for such cells. [m]"""
    if first_system() == "us":
        return f"--cell {cell / metres_in('ft'):.3g}ft"
    return f"--cell {cell:.4g}m"
