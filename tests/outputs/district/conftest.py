"""A screening made up by hand on the demo district: every figure is known, none is computed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapely import LineString, Point

from terrain.district.screened import (
    Entry,
    Ground,
    Parcel,
    RoadShed,
    Roofs,
    Screened,
    Screening,
    Water,
)
from terrain.inputs.district import read_district
from terrain.inputs.layers import read_layer
from terrain.plan.siting.reading import open_ground

DEMO = Path(__file__).parents[3] / "demo_dem"


def screened(parcel, number, storms, frame_notes=()):
    """Figures that differ from parcel to parcel and from each other."""
    base = 1000.0 / number
    waters = tuple(Water(storm.name, storm.depth, base + k, 2 * base + k, base / 8 + k,
                         15.0 * number + k) for k, storm in enumerate(storms))
    x, y = parcel.outline.representative_point().coords[0]
    line = LineString([(x - 25, y), (x, y + 3), (x + 25, y)])
    swale = Ground("swale", line, line.buffer(3.0), 40.0 / number, 21.0 / number, 3.5 * number,
                   1715.0 * number, 0.4, 9000.0 / number,
                   tuple(50.0 * (k + 1) for k in range(len(storms))),
                   tuple(30.0 * (k + 1) for k in range(len(storms))), 400.0 / number,
                   210.0 / number, ("The slope here is 4 %: <b>room</b> \"enough\".",))
    rim = Point(x + 10, y - 30).buffer(9.0)
    basin = Ground("dug basin", LineString(rim.exterior.coords), rim.buffer(2.0), 90.0 / number,
                   88.0 / number, 12.0 * number, 5900.0 * number, 0.0, 12000.0 / number,
                   tuple(60.0 * (k + 1) for k in range(len(storms))),
                   tuple(35.0 * (k + 1) for k in range(len(storms))), 500.0 / number,
                   300.0 / number, ("Three ways of water meet here.",))
    ring = parcel.outline.exterior
    entries = tuple(Entry(ring.interpolate(share, normalized=True).coords[0], 20000.0 * size)
                    for share, size in ((0.1, 1.0), (0.35, 0.5), (0.6, 0.2)))
    return Screened(
        parcel, parcel.area - 10.0, 34000.0 / number, number == 4, waters,
        Water("year", 410.0, 3 * base, 5 * base, base / 2, 90.0 * number),
        RoadShed(310.0, 1200.0, (x - 12, y + 20), 800.0), Roofs(number, 55.5 * number), entries,
        swale, basin if number % 2 else None,
        ("A hole of 3 m2 was filled.", *frame_notes))


def made_up(units="metric", names=None, faulty=(), folder=DEMO):
    """Every parcel of the demo district, with figures; `names` take the place of the first ones."""
    district = read_district(folder).model_copy(update={"units": units})
    files = open_ground(district)
    layer = read_layer(district.parcels, district.folder, files, "parcels")
    names = [*(names or ()), *layer["name"]][:len(layer)] if names else list(layer["name"])
    parcels = [Parcel(n, str(name), shape, page == "yes") for n, (name, shape, page) in enumerate(
        zip(names, layer.geometry, layer["page"], strict=True), 1)]
    storms = district.rain.storms
    found = [screened(parcel, parcel.number, storms) for parcel in parcels]
    good = [one for one in found if one.parcel.number not in faulty]
    bad = [Screened(one.parcel, fault="The elevation knows nothing of it.") for one in found
           if one.parcel.number in faulty]
    whole = files.read()
    step = 4
    low = np.fmin.reduce(np.fmin.reduce(
        whole.heights.reshape(150, step, 160, step), axis=3), axis=1)
    overview = replace(whole, heights=low, cell=whole.cell * step, filled_holes=None)
    return Screening(district, overview, tuple(good + bad), 1, 384_000, 6, (812, 990),
                     ("Curve numbers are of average wetness.", "One <i>note</i>."))


@pytest.fixture(scope="session")
def screening():
    """In metric units, all parcels screened."""
    return made_up()


@pytest.fixture(scope="session", params=["metric", "us"])
def either(request):
    """In either system; two parcels could not be screened."""
    return made_up(request.param, faulty=(3, 6))


@pytest.fixture(scope="session")
def hostile():
    """Parcels whose names are markup, formulas, ways to other folders and each other's twins."""
    return made_up(names=["<script>alert(1)</script>", "=1+1", "../../etc/passwd", "Höf", "HOF",
                          "CON", "…", "a" * 300])


@pytest.fixture(scope="session", name="made_up")
def _made_up():
    return made_up
