"""Infiltration into dry soil by Green and Ampt: under standing water, and under rain.

Any unit of time will do, as long as steps, times and conductivities share it.  Water standing on
the soil adds to the suction; its depth is left out here, and whoever knows it may add it.

References
----------
.. [1] Chow, Maidment & Mays, Applied Hydrology, 1988, sections 4.3, 4.4 and 5.4.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.surface.kernels import kernel

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Texture:
    """What a soil of a texture class does with water, on average.

    Attributes
    ----------
    name : str
    porosity, effective_porosity : float
        The second is less by what stays in drained soil. [-]
    suction : float
        At the wetting front. [mm]
    conductivity : float
        Of the wetted soil, half the saturated one for the air that stays trapped. [mm/h]
    """

    name: str
    porosity: float
    effective_porosity: float
    suction: float
    conductivity: float

    def suction_deficit(self, saturation: float = 0.0) -> float:
        """Suction times the pore space that is still empty. [mm]

        Parameters
        ----------
        saturation : float
            Share of the effective porosity that holds water before. [-]

        Raises
        ------
        ValueError
            If the saturation is not between 0 and 1.
        """
        if not 0 <= saturation <= 1:
            raise ValueError(f"saturation {saturation:g} is outside 0 to 1")
        return self.suction * (1 - saturation) * self.effective_porosity


@lru_cache(maxsize=1)
def textures() -> dict[str, Texture]:
    """Texture classes of Rawls, Brakensiek & Miller (1983) by name, sand first."""
    text = resources.files("terrain.runoff").joinpath("textures.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return {row["texture"]: Texture(row["texture"], float(row["porosity"]),
                                    float(row["effective_porosity"]),
                                    10 * float(row["suction_cm"]),
                                    10 * float(row["k_cm_per_h"])) for row in rows}


def texture_named(name: str) -> Texture:
    """The texture class of a name, in any case.

    Raises
    ------
    ValueError
        If there is no such class; it lists them.
    """
    known = textures()
    found = known.get(" ".join(name.lower().replace("_", " ").replace("-", " ").split()))
    if found is None:
        raise ValueError(f"'{name}' is no texture of the table: {', '.join(known)}")
    return found


@kernel
def ponded_gain(infiltrated: float, suction_deficit: float, conductivity: float, step: float
                ) -> float:
    """Depth that soaks in during a step when water stands on the soil all the while. [mm]

    Parameters
    ----------
    infiltrated : float
        What had soaked in before, F. [mm]
    suction_deficit : float
        Suction times empty pore space, s. [mm]
    conductivity : float
        K. [mm/h]
    step : float
        [h]

    Notes
    -----
    d - s ln(1 + d / (s + F)) = K step, which is convex in the gain d: Newton comes down to it
    from K step + sqrt(2 s K step), which is never below it as e^u >= 1 + u + u^2 / 2.
    """
    steady = conductivity * step
    if steady <= 0.0 or suction_deficit <= 0.0:
        return max(steady, 0.0)
    held = suction_deficit + infiltrated
    gain = steady + np.sqrt(2.0 * suction_deficit * steady)
    for _ in range(100):
        over = gain - suction_deficit * np.log1p(gain / held) - steady
        closer = gain - over * (held + gain) / (infiltrated + gain)
        if not closer < gain * (1.0 - 1e-14):
            break
        gain = closer
    return float(max(gain, steady))


@kernel
def _gains(infiltrated: NDArray[np.float64], suction_deficit: NDArray[np.float64],
           conductivity: NDArray[np.float64], step: NDArray[np.float64], found: NDArray[np.float64]
           ) -> None:
    for i in range(found.size):
        found[i] = ponded_gain(infiltrated[i], suction_deficit[i], conductivity[i], step[i])


@kernel
def _under_rain(rain: NDArray[np.float64], step: float, suction_deficit: float, conductivity: float,
                found: NDArray[np.float64]) -> None:
    total = 0.0
    for i in range(rain.size):
        intensity = rain[i] / step
        # The soil can take what falls as long as K (1 + s / F) is more.
        can_before = conductivity * (total + suction_deficit)
        after = total + rain[i]
        if intensity * total >= can_before:
            gain = ponded_gain(total, suction_deficit, conductivity, step)
        elif intensity * after <= conductivity * (after + suction_deficit):
            gain = rain[i]
        else:
            before_ponding = conductivity * suction_deficit / (intensity - conductivity) - total
            left = step - before_ponding / intensity
            gain = before_ponding + ponded_gain(total + before_ponding, suction_deficit,
                                                conductivity, left)
        found[i] = min(gain, rain[i])
        total += found[i]


def ponded_depth(time: ArrayLike, suction_deficit: ArrayLike, conductivity: ArrayLike,
                 infiltrated: ArrayLike = 0.0) -> FloatArray:
    """Depth that soaks in within a time under standing water. [mm]

    Parameters
    ----------
    time : broadcasts with the rest
        [h]
    suction_deficit, conductivity, infiltrated : broadcast
        As in `ponded_gain`. [mm], [mm/h], [mm]

    Raises
    ------
    ValueError
        If any is negative or unknown.
    """
    parts = np.broadcast_arrays(*(np.asarray(part, dtype=np.float64) for part in (
        infiltrated, suction_deficit, conductivity, time)))
    for part, name in zip(parts, ("infiltrated depth", "suction deficit", "conductivity", "time"),
                          strict=True):
        _refuse_negative(part, name)
    found = np.empty(parts[0].size)
    done, suction, k, steps = (np.ascontiguousarray(part).reshape(-1) for part in parts)
    _gains(done, suction, k, steps, found)
    return found.reshape(parts[0].shape)


def infiltration_rate(infiltrated: ArrayLike, suction_deficit: ArrayLike,
                      conductivity: ArrayLike) -> FloatArray:
    """Rate at which the soil can take water, f = K (1 + s / F); endless before any went in. [mm/h]

    Parameters
    ----------
    infiltrated, suction_deficit, conductivity : broadcast
        [mm], [mm], [mm/h]
    """
    depth = np.asarray(infiltrated, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.asarray(suction_deficit, dtype=np.float64) / depth
    share = np.where(np.asarray(suction_deficit) == 0, 0.0, share)
    return np.asarray(conductivity, dtype=np.float64) * (1 + share)


def ponding_time(rain_rate: ArrayLike, suction_deficit: ArrayLike, conductivity: ArrayLike
                 ) -> FloatArray:
    """Time until water stands under steady rain, K s / (i (i - K)). [h]

    Endless where the rain is no faster than the conductivity.

    Parameters
    ----------
    rain_rate, suction_deficit, conductivity : broadcast
        [mm/h], [mm], [mm/h]
    """
    rate, suction, k = np.broadcast_arrays(*(np.asarray(part, dtype=np.float64) for part in (
        rain_rate, suction_deficit, conductivity)))
    found: FloatArray = np.divide(k * suction, rate * (rate - k), out=np.full(rate.shape, np.inf),
                                  where=rate > k)
    return found


def depth_under_rain(time: ArrayLike, rain_rate: ArrayLike, suction_deficit: ArrayLike,
                     conductivity: ArrayLike) -> FloatArray:
    """Depth that soaks in within a time of steady rain, before and after water stands. [mm]

    Parameters
    ----------
    time, rain_rate, suction_deficit, conductivity : broadcast
        [h], [mm/h], [mm], [mm/h]
    """
    time, rate, suction, k = np.broadcast_arrays(*(np.asarray(part, dtype=np.float64) for part in (
        time, rain_rate, suction_deficit, conductivity)))
    _refuse_negative(rate, "rate of rain")
    dry = np.minimum(time, ponding_time(rate, suction, k))
    found: FloatArray = rate * dry + ponded_depth(time - dry, suction, k, rate * dry)
    return found


def infiltrate(rain_depths: ArrayLike, step: float, texture: Texture, saturation: float = 0.0
               ) -> tuple[FloatArray, FloatArray]:
    """What of a storm soaks in step by step, and what is left over to run off.

    Parameters
    ----------
    rain_depths : float64, shape (steps,)
        Rain of each step, falling evenly within it. [mm]
    step : float
        [h]
    texture : Texture
    saturation : float
        Share of the effective porosity that holds water before the storm. [-]

    Returns
    -------
    infiltrated, excess : float64, shape (steps,)
        Their sum is the rain. [mm]

    Raises
    ------
    ValueError
        If rain is negative or unknown, the step not above 0, or the saturation outside 0 to 1.

    Notes
    -----
    The excess leaves at once: none of it soaks in later.  Soil does not dry between bursts.

    References
    ----------
    .. [1] Chow, Maidment & Mays, Applied Hydrology, 1988, section 5.4.
    """
    rain = np.ascontiguousarray(rain_depths, dtype=np.float64)
    if rain.ndim != 1:
        raise ValueError(f"rain has {rain.ndim} dimensions; one row of depths is wanted")
    _refuse_negative(rain, "rain")
    if not step > 0:
        raise ValueError(f"step {step:g} h is not above 0")
    infiltrated = np.empty(rain.size)
    _under_rain(rain, float(step), texture.suction_deficit(saturation), texture.conductivity,
                infiltrated)
    return infiltrated, rain - infiltrated


def _refuse_negative(values: FloatArray, name: str) -> None:
    bad = ~(values >= 0)
    if bad.any():
        raise ValueError(f"{name} {values[bad].flat[0]:g} is not 0 or more")
