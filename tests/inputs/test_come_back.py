"""What is written into a person's files comes back from their readers as it was written.

The values are generated; each is written by a library other than the reader's own code, or by hand.
"""

from __future__ import annotations

import datetime as dt
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.inputs.elevation import open_elevation
from terrain.inputs.rainfall import read_daily_rain
from terrain.inputs.survey_points import read_points
from terrain.units import read_quantity

FEW = settings(max_examples=30)
#: Metres, square metres, cubic metres or millimetres of rain of each unit: the international foot
#: of 0.3048 m (1959), the acre of 43,560 square feet, the US gallon of 231 cubic inches.
FOOT = Fraction(3048, 10_000)
INCH = FOOT / 12
WORTH = {"length": {"m": Fraction(1), "cm": Fraction(1, 100), "ft": FOOT, "in": INCH},
         "area": {"m2": Fraction(1), "ha": Fraction(10_000), "ft2": FOOT ** 2,
                  "acre": 43_560 * FOOT ** 2},
         "volume": {"m3": Fraction(1), "L": Fraction(1, 1000), "gal": 231 * INCH ** 3,
                    "ft3": FOOT ** 3},
         "rain": {"mm": Fraction(1), "in": 1000 * INCH}}
numbers = st.decimals(min_value="0.001", max_value="99999", places=3)


@FEW
@given(st.data(), numbers, st.sampled_from(sorted(WORTH)), st.sampled_from(["", " "]))
def test_quantities(data, number, dimension, blank):
    unit = data.draw(st.sampled_from(sorted(WORTH[dimension])))
    found = read_quantity(f"{number}{blank}{unit}", dimension, "metric")
    assert found == pytest.approx(float(Fraction(number) * WORTH[dimension][unit]), rel=1e-12)


@FEW
@given(st.integers(0, 9999), st.decimals(min_value=0, max_value="11.999", places=3),
       st.sampled_from(["{} ft {} in", "{}ft{}in", "{}' {}\"", "{}'{}\"", "{}'-{}\""]),
       st.sampled_from(["metric", "us"]))
def test_feet_and_inches(feet, inches, layout, system):
    found = read_quantity(layout.format(feet, inches), "length", system)
    assert found == pytest.approx(float(feet * FOOT + Fraction(inches) * INCH), rel=1e-12)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("written")


@FEW
@given(st.lists(st.integers(0, 4000), min_size=40, max_size=120), st.sampled_from([
    (",", "."), (";", ","), ("\t", "."), (";", ".")]), st.sampled_from(["\n", "\r\n"]),
    st.booleans(), st.dates(dt.date(1900, 1, 1), dt.date(2020, 1, 1)))
def test_daily_rain(folder, tenths, signs, end, marked, first):
    between, point = signs
    lines = [f"date{between}rain_mm"] + [
        f"{first + dt.timedelta(n)}{between}{depth // 10}{point}{depth % 10}"
        for n, depth in enumerate(tenths)]
    path = folder / "rain.csv"
    path.write_bytes((b"\xef\xbb\xbf" if marked else b"") + end.join(lines).encode())
    depths = read_daily_rain(path, "mm").depths
    assert depths.to_numpy() == pytest.approx(np.array(tenths) / 10, abs=1e-9)
    assert depths.index[0].date() == first
    assert len(depths) == len(tenths)


@FEW
@given(st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 10**6), st.integers(-9, 4000)),
                min_size=3, max_size=30), st.permutations(["easting", "northing", "elevation"]),
       st.sampled_from([(",", "."), (";", ","), ("\t", "."), (";", ".")]),
       st.sampled_from(["\n", "\r\n"]))
def test_surveyed_points(folder, points, order, signs, end):
    """With two decimals: three behind a comma may be thousands, and are refused as such."""
    between, point = signs
    axes = {name: [p[n] for p in points] for n, name in
            enumerate(("easting", "northing", "elevation"))}

    def told(hundredths: int) -> str:
        whole, part = divmod(abs(hundredths), 100)
        return f"{'-' * (hundredths < 0)}{whole}{point}{part:02}"
    lines = [between.join(order)] + [between.join(told(axes[name][n]) for name in order)
                                     for n in range(len(points))]
    path = folder / "points.csv"
    path.write_text(end.join(lines), newline="")
    found = read_points(path, None)
    for axis, name in (("x", "easting"), ("y", "northing"), ("z", "elevation")):
        assert getattr(found, axis) == pytest.approx(np.array(axes[name]) / 100, abs=1e-9)


@FEW
@given(st.lists(st.integers(-400, 30_000), min_size=64, max_size=64),
       st.sampled_from([(1.0, 0.0), (0.1, 0.0), (0.01, 500.0), (0.25, -50.0)]),
       st.sampled_from(["int16", "int32", "float32", "float64"]),
       st.sampled_from([None, -9999, -32768, 0, 7]), st.sampled_from(["metre", "foot"]),
       st.booleans())
def test_heights(folder, values, scaled, kind, nodata, unit, from_south):
    """Of any type, scale, offset and mark of holes; only cells that hold the mark are holes."""
    import rasterio
    from rasterio.transform import Affine

    scale, offset = scaled
    stored = np.array(values, kind).reshape(8, 8)
    path = folder / "ground.tif"
    place = Affine(1, 0, 500_000, 0, 1 if from_south else -1, 6_399_992 if from_south
                   else 6_400_000)
    with rasterio.open(path, "w", driver="GTiff", height=8, width=8, count=1, dtype=kind,
                       crs="EPSG:32734", transform=place, nodata=nodata) as out:
        out.write(stored, 1)
        out.scales, out.offsets, out.units = (scale,), (offset,), (unit,)
    heights = (stored.astype(float) * scale + offset) * (1.0 if unit == "metre" else 0.3048)
    if nodata is not None:
        heights[stored == nodata] = np.nan
    heights[(heights < -500) | (heights > 9000)] = np.nan  # none that land on Earth has, and told
    if np.isnan(heights).all():
        return
    found = open_elevation(path, fill_holes=0).read().heights
    assert found == pytest.approx(heights[::-1] if from_south else heights, abs=2e-3, nan_ok=True)
