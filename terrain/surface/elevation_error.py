"""Errors that an elevation raster may have: random fields that neighbours share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: The raster is drawn as part of a wider one that joins up at its ends, wider by so many reaches,
#: so that its opposite sides have nothing in common (correlation exp(-12)).
APART = 2.0
#: Waves that together have no more than this share of the variance are left out.
LEFT_OUT = 1e-9


def correlation(distance: ArrayLike, reach: float) -> NDArray[np.float64]:
    """Correlation of the errors at two points. [-]

    Parameters
    ----------
    distance : any shape
        Between the points. [m]
    reach : float
        Distance at which it has fallen to exp(-3), 5 %; 0 where no two cells have anything in
        common. [m]

    References
    ----------
    .. [1] J. Oksanen & T. Sarjakoski, "Error propagation of DEM-based surface derivatives",
       Computers & Geosciences 31, 2005 (Gaussian model with a practical range; they found the
       range to matter far more than the model).
    """
    apart = np.asarray(distance, np.float64)
    if reach <= 0:
        found: NDArray[np.float64] = (apart == 0).astype(np.float64)
        return found
    return np.asarray(np.exp(-3.0 * (apart / reach) ** 2))


@dataclass(frozen=True)
class ErrorField:
    """Gaussian fields of one standard deviation and reach on a raster's grid.

    Attributes
    ----------
    shape : (int, int)
        Rows and columns of the raster.
    wide : (int, int)
        Those of the wider one that joins up at its ends.
    waves : int64, shape (n,)
        Waves down the rows that are drawn, by their place in the spectrum.
    gains : float32, shape (n, m)
        What white noise is multiplied by in those waves, and in the first m along the columns. [m]
    """

    shape: tuple[int, int]
    wide: tuple[int, int]
    waves: NDArray[np.int64]
    gains: NDArray[np.float32]

    def draw(self, generator: np.random.Generator) -> NDArray[np.float32]:
        """One field, shape (rows, columns); the same for the same state of the generator. [m]"""
        from scipy import fft

        count, most = self.gains.shape
        noise = generator.standard_normal((count, 2 * most), np.float32).view(np.complex64)
        spectrum = np.zeros((self.wide[0], most), np.complex64)
        spectrum[self.waves] = noise * self.gains
        down = fft.ifft(spectrum, axis=0)[:self.shape[0]]
        field = fft.irfft(down, self.wide[1], axis=1)[:, :self.shape[1]]
        return np.ascontiguousarray(field, np.float32)


def error_field(shape: tuple[int, int], cell: float, deviation: float, reach: float
                ) -> ErrorField:
    """Make ready to draw errors of a raster.

    Parameters
    ----------
    shape : (rows, columns)
    cell : float
        Side of a cell. [m]
    deviation : float
        Standard deviation of the error of a cell. [m]
    reach : float
        See `correlation`. [m]

    Raises
    ------
    ValueError
        If the deviation or the reach is negative, or the cell not above 0.

    References
    ----------
    .. [1] C. R. Dietrich & G. N. Newsam, "Fast and exact simulation of stationary Gaussian
       processes through circulant embedding of the covariance matrix", SIAM Journal on
       Scientific Computing 18, 1997 (white noise shaped by the spectrum of the covariance on a
       grid that joins up at its ends; from memory).
    """
    from scipy import fft

    if not (deviation >= 0 and reach >= 0 and cell > 0):
        raise ValueError(f"a deviation of {deviation:g} m, a reach of {reach:g} m or a cell of "
                         f"{cell:g} m is too small")
    more = int(np.ceil(APART * reach / cell))
    rows, columns = (int(fft.next_fast_len(count + more, real=True)) for count in shape)
    # The model is a product of one of rows and one of columns, so its spectrum is one too.
    down, across = _spectrum(rows, cell, reach), _spectrum(columns, cell, reach)
    waves = _kept(down)
    most = int(_kept(across)[_kept(across) <= columns // 2].max()) + 1
    half = across[:most].copy()
    half[1:] /= 2  # each stands for two, itself and its mirror image, with noise of two parts
    if most - 1 == columns // 2 and columns % 2 == 0:
        half[-1] *= 2  # the shortest wave is its own image: only the real part of it counts
    size = np.sqrt(np.outer(down[waves], half) * rows * columns)
    return ErrorField(shape, (rows, columns), waves, (deviation * size).astype(np.float32))


def _kept(spectrum: NDArray[np.float64]) -> NDArray[np.int64]:
    """The waves that hold all but a trifle of the variance; a wave and its image both or neither.
    """
    ranked = np.sort(spectrum)
    least = ranked[int(np.searchsorted(np.cumsum(ranked), LEFT_OUT * ranked.sum(), "right"))]
    return np.flatnonzero(spectrum >= least * (1 - 1e-9))


def _spectrum(count: int, cell: float, reach: float) -> NDArray[np.float64]:
    """Spectrum of the correlation along a line that joins up at its ends; its mean is 1."""
    steps = np.arange(count)
    waves = np.fft.fft(correlation(np.minimum(steps, count - steps) * cell, reach)).real
    waves = np.maximum(waves, 0.0)  # rounding alone goes below
    return np.asarray(waves / waves.mean())
