"""The sheet of a work as built: everything legible, nothing over another, in both systems."""

from __future__ import annotations

import csv
import json

import pytest
from matplotlib.colors import to_rgb

from terrain.asbuilt.asbuilt import as_built
from terrain.asbuilt.designed_lines import designed_lines
from terrain.outputs.asbuilt.asbuilt_folder import write_as_built
from terrain.outputs.asbuilt.asbuilt_sheet import draw_as_built
from terrain.outputs.asbuilt.difference_panel import LOOKS
from terrain.units import shown

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def found(demo_plan, tmp_path_factory):
    """A survey with all that can be said: a sill high at one end, a bed and a crest out of level.
    """
    from terrain.outputs.field.stakes import stakes_of

    folder, plan = tmp_path_factory.mktemp("as-built"), demo_plan
    rows = ["work,mark,station_m,elevation_m"]
    for line in designed_lines(plan):
        errors = {"sill": (0.0, 0.004, 0.012, 0.02), "bed": (0.0, 0.05, 0.04, -0.04),
                  "berm": (0.0, -0.3, 0.05, 0.0), "wall": (0.0, -0.2, 0.01, 0.0),
                  "lip": (0.0, 0.01, 0.0)}.get(line.name)
        if errors is None or line.work not in ("upper swale", "gully pond"):
            continue
        start, end = line.spans[0][0], line.spans[-1][1]
        for i, error in enumerate(errors):
            at = start + (end - start) * i / (len(errors) - 1)
            rows.append(f"{line.work},{line.marks[0]},{at:.3f},{line.level_at(at) + error:.4f}")
    path = folder / "points.csv"
    path.write_text("\n".join(rows) + "\n")
    return as_built(plan, path, stakes_of(plan))


@pytest.mark.parametrize(("name", "system"), [
    ("upper swale", "us"), pytest.param("upper swale", "metric", marks=pytest.mark.slow),
    pytest.param("gully pond", "metric", marks=pytest.mark.slow),
    pytest.param("gully pond", "us", marks=pytest.mark.slow)])
def test_no_lettering_overlaps_or_leaves_the_sheet(found, seen, name, system):
    figure = draw_as_built(found, found.work(name), system)
    assert not seen.overlaps(figure)
    assert not seen.outside(figure)
    words = seen.words(figure)
    assert "spills here first" in words
    assert (" gal" in words) == (system == "us")
    assert " mm" in words if system == "metric" else " ft" in words
    # Every storm has a row, or it is told how many stand elsewhere.
    work = found.work(name)
    rows = sum(
        shown(storm.built.caught, "volume", system, with_unit=False) in words
        for storm in work.storms)
    assert "Storms" in words
    assert rows == len(work.storms) or "stand in the printed answer" in words


@pytest.fixture(scope="module")
def figure(found):
    return draw_as_built(found, found.work("upper swale"), "metric")


def test_highs_and_lows_have_shapes_of_their_own_beside_colours(figure, seen):
    for state in ("high", "low", "within"):
        assert seen.with_gid(figure, f"point {state}")
    symbols = {look[0] for look in LOOKS.values()}
    assert len(symbols) == len(LOOKS)
    greys = sorted(sum(c * w for c, w in zip(to_rgb(look[1]), (0.3, 0.59, 0.11), strict=True))
                   for look in LOOKS.values())
    assert greys[-1] - greys[0] > 0.4  # within is paper, the others dark: told apart without colour


def test_points_are_drawn_where_they_were_surveyed(found, figure):
    work = found.work("upper swale")
    plan = figure.axes[0]
    drawn = {(round(float(a.get_xdata()[0]), 3), round(float(a.get_ydata()[0]), 3))
             for a in plan.lines if str(a.get_gid()).startswith("point")}
    assert drawn == {(round(p.x, 3), round(p.y, 3)) for line in work.lines for p in line.points}


@pytest.mark.slow
def test_a_folder_of_all_works(found, tmp_path):
    written = write_as_built(found, tmp_path / "out")
    assert [path.name for path in written] == ["01-upper-swale.png", "02-gully-pond.png",
                                               "as_built.json", "points.csv"]
    told = json.loads((tmp_path / "out" / "as_built.json").read_text())
    assert set(told["inputs_sha256"]) == {"site.yaml", "points.csv"}
    with open(tmp_path / "out" / "points.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == sum(len(line["points"]) for work in told["works"]
                            for line in work["lines"])
    for row in rows:
        assert float(row["surveyed_m"]) - float(row["designed_m"]) == pytest.approx(
            float(row["difference_m"]), abs=0.0016)
