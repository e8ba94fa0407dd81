"""How kernels are compiled, and how a raster is worked in strips on all cores."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import Any, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

#: A strip is no smaller than this, so that small rasters are not cut up.
LEAST_STRIP = 250_000
#: Number of strips at most.  It goes by the raster alone, never by the machine, so that sums are
#: made in the same order everywhere.
MOST_STRIPS = 8

Kernel = TypeVar("Kernel", bound=Callable[..., Any])


def kernel(function: Kernel) -> Kernel:
    """Compile a function over arrays.

    It is compiled once and kept on disk; it frees the lock, so that strips run side by side;
    division by zero is not looked for, which compiles sooner.
    """
    return cast(Kernel, numba.njit(cache=True, nogil=True, error_model="numpy")(function))


def inlined(function: Kernel) -> Kernel:
    """Compile a function into each kernel that calls it, so that its loop stays one."""
    return cast(Kernel, numba.njit(inline="always")(function))


@kernel
def longer(values: NDArray[Any], size: int) -> NDArray[Any]:
    """A longer array that begins with the same values.

    Written out, for a slice or one of numpy's ways to make an array takes seconds to compile.
    """
    found = np.empty(size, values.dtype)
    for i in range(values.size):
        found[i] = values[i]
    return found


Found = TypeVar("Found")


def cut_in_strips(rows: int, columns: int) -> list[tuple[int, int]]:
    """First row and the one after the last of each strip that a raster is worked in."""
    count = int(min(max(rows * columns // LEAST_STRIP, 1), MOST_STRIPS, max(rows // 4, 1)))
    cuts = [rows * i // count for i in range(count + 1)]
    return list(pairwise(cuts))


def between(strips: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Strips of the same rows whose cuts lie in the middle of the given ones."""
    middles = [(first + last) // 2 for first, last in strips]
    return list(pairwise([strips[0][0], *middles, strips[-1][1]])) if len(strips) > 1 else []


def cores() -> int:
    """Cores that this process may use."""
    return (len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity")
            else os.cpu_count()) or 1


def in_strips(work: Callable[[int, int, int], Found], strips: list[tuple[int, int]]
              ) -> list[Found]:
    """Call `work(first, last, number)` for each strip, on all cores where it frees the lock."""
    if len(strips) < 2:
        return [work(*strip, 0) for strip in strips]
    with ThreadPoolExecutor(min(len(strips), cores())) as threads:
        return list(threads.map(work, *zip(*strips, strict=True), range(len(strips))))
