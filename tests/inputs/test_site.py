"""The site file: what it may say, and how its slips are told."""

import re

import numpy as np
import pytest
from shapely.geometry import LineString, box

from terrain.errors import InputError
from terrain.inputs.site import read_site
from terrain.inputs.starter import begin
from terrain.plan.plan import check_site


def test_the_small_site(small_site):
    site = read_site(small_site)
    assert [work.kind for work in site.works] == ["swale", "basin", "tree basin", "tank"]
    assert site.works[2].at == [(500030.0, 6399900.0), (500035.0, 6399905.0)]
    assert site.works[3].demand == pytest.approx(0.05)
    assert site.rain.design.name == "big day"
    assert site.where("rain", "storms", 0, "depth").endswith("line 19")
    assert site.where_work("pond", "crest").endswith('line 35, works "pond", crest')


def test_numbers_without_a_unit_are_taken_as_declared_and_remembered(small_site):
    text = small_site.read_text().replace("depth: 20 mm", "depth: 2")
    small_site.write_text("units: us\n" + text)
    site = read_site(small_site)
    assert site.rain.storms[0].depth == pytest.approx(50.8)
    assert "depth 2 taken as in" in site.bare_numbers


def test_a_depth_in_the_wrong_unit_is_refused(small_site):
    small_site.write_text(small_site.read_text().replace(
        "    length: 30 m\n", "    length: 30 m\n    depth: 0.35 mm\n"))
    with pytest.raises(InputError, match=r"0.35 mm is below 0.02 m"):
        read_site(small_site)


def test_the_design_storm_is_the_one_named_else_the_commonest_rare_one(small_site):
    text = small_site.read_text()
    small_site.write_text(text.replace("  daily:", "    - {name: flood, depth: 90 mm, return "
                                       "period: 100}\n  daily:"))
    assert read_site(small_site).rain.design.name == "big day"
    small_site.write_text(text.replace("  daily:", "  design storm: shower\n  daily:"))
    assert read_site(small_site).rain.design.name == "shower"
    small_site.write_text(text.replace("  daily:", "  design storm: deluge\n  daily:"))
    with pytest.raises(InputError, match="deluge"):
        read_site(small_site)


def test_a_misspelt_field_is_told_with_the_nearest_one(small_site):
    small_site.write_text(small_site.read_text().replace("crown: 3 m", "crowns: 3 m"))
    with pytest.raises(InputError, match=r'works "trees".*crowns.*not known.*crown'):
        read_site(small_site)


def test_no_work_is_called_as_what_leaves_the_site(small_site):
    text = small_site.read_text()
    assert "name: pond" in text
    small_site.write_text(text.replace("name: pond", "name: off site"))
    with pytest.raises(InputError, match=r"line 33.*name: no work can be called off site"):
        read_site(small_site)


@pytest.mark.parametrize("text", ["", "- a\n- b\n", "just words\n", "a: b: c\n", "a: *b\n",
                                  "a: 1\na: 2\n", "\x00", "{"])
def test_what_is_no_site_file(tmp_path, text):
    path = tmp_path / "site.yaml"
    path.write_text(text)
    with pytest.raises(InputError, match=r"site\.yaml"):
        read_site(path)


def test_the_starter_is_a_valid_site_file(tmp_path):
    site = read_site(begin(tmp_path / "new", demo=False))
    assert site.works == []
    with pytest.raises(InputError, match="already"):
        begin(tmp_path / "new", demo=False)


def taken_in(path, *left_out):
    """Take the # away from every part of the starter but those named, as its words say."""
    parts = ("culverts", "roads", "roofs", "runoff", "evapotranspiration", "keep clear",
             "benchmark", "money", "doubt")
    lines, inside = [], False
    for line in path.read_text().splitlines():
        starts = next((part for part in parts if line.startswith(f"# {part}:")), None)
        if starts is not None:
            inside = starts not in left_out
        elif line.startswith("works:"):
            inside = True
        elif not line.startswith("#   "):
            inside = False
        lines.append(line[2:] if inside and line.startswith("#") else line)
    path.write_text("\n".join(lines) + "\n")


def test_the_starter_in_us_units_means_the_same(tmp_path):
    """Every part of it, taken in: all figures within 3 % of the metric ones, and none left out;
    points lie in the northern half of the world, and months half a year on."""
    metric, us = begin(tmp_path / "metric", False), begin(tmp_path / "us", False, "us")
    taken_in(metric)
    taken_in(us)
    left = [line for line in us.read_text().splitlines()
            if re.search(r"\d (mm|m|m2|m3|L|mm/h|L/day)\b", line)]
    assert len(left) == 2  # what quantities may be, and a public 1 m tile
    assert [word for word in ("veld", "EPSG:327", "rain_mm", "tanker", "southern", "6430")
            if word in us.read_text()] == []
    assert us.read_text().count("403") > metric.read_text().count("643") - 1
    us.write_text(us.read_text().replace(", 4030", ", 6430").replace("low spot", "the pan"))
    metric, us = read_site(metric), read_site(us)
    assert (metric.units, us.units) == ("metric", "us")
    months = us.evapotranspiration
    assert max(months) == months[6]  # July
    assert max(metric.evapotranspiration) == metric.evapotranspiration[0]
    us = us.model_copy(update={"evapotranspiration": months[6:] + months[:6]})
    dumped = [site.model_dump(mode="json", exclude={"units"}) for site in (metric, us)]
    assert alike(*dumped) > 100
    assert us.bare_numbers == []
    assert us.works[0].depth == pytest.approx(0.3048)


def alike(one, other):
    """How many figures two parts have, after each was held against its like."""
    if isinstance(one, dict):
        assert one.keys() == other.keys()
        return sum(alike(one[key], other[key]) for key in one if key != "bare")
    if isinstance(one, list):
        assert len(one) == len(other)
        return sum(map(alike, one, other))
    if isinstance(one, float) and not isinstance(one, bool):
        assert other == pytest.approx(one, rel=0.03)
        return 1
    assert one == other
    return 0


@pytest.mark.parametrize(("old", "new", "says"), [
    ("length: 30 m", "depth: 35", "depth: 35 has no unit and is taken as 35 m, which is more than "
     "10 m. Write it with its unit, such as 0.4 m"),
    ("length: 30 m", "width: 60", "width: 60 has no unit"),
    ("length: 30 m", "pipe diameter: 110", "pipe diameter: 110 has no unit"),
    ("volume: 5 m3", "volume: 5000", "5000 has no unit and is taken as 5000 m3"),
    ("volume: 5 m3", "volume: 5 m", "'5 m' is not a volume. Write it such as 20 m3"),
    ("crown: 3 m", "crown: 3 mm", "3 mm is below 0.1 m. Check the number and its unit"),
    ("length: 30 m", "infiltration: 12 mm", "'12 mm' is not a rate of soaking. Write it such as "
     "12 mm/h"),
    ("demand: 50 L/day", "demand: 50 L", "Write it such as 50 L/day"),
    ("crest: 195.9 m", "crest: 195,9 m", "Write decimals with a point, such as 195.9 m"),
    ("name: Small valley", "name: Small valley\nunit: us", "unit: this field is not known. Perhaps "
     "'units' was meant"),
    ("  otherwise: C\n", "", None), ("  file: soils.geojson\n  otherwise: C\n", "  field: group\n",
                                     "soils: neither a layer (file) nor what holds for all"),
    ("  file: soils.geojson\n", "  file:\n", "soils: its file has no name"),
    ("  file: soils.geojson\n", "  table: units.csv\n", "soils: table would say how a layer is"),
    ("  file: cover.geojson\n", "  codes: nlcd\n", "cover: codes would say how a layer is read")])
def test_slips_are_told_with_what_to_write(small_site, old, new, says):
    text = small_site.read_text()
    assert old in text
    small_site.write_text(text.replace(old, new))
    if says is None:
        read_site(small_site)
        return
    with pytest.raises(InputError) as error:
        read_site(small_site)
    assert says in str(error.value)


def test_one_class_and_one_group_for_all_ground_need_no_layer(small_site):
    """As the same with layers that lie elsewhere on the raster, or say the same everywhere."""
    text = small_site.read_text()
    small_site.write_text(text.replace("  file: cover.geojson\n", "").replace(
        "  file: soils.geojson\n", ""))
    inputs, _ = check_site(small_site)
    assert (inputs.ground.soil == 2).all()
    roads = {road.cover for road in inputs.ground.roads}
    assert set(inputs.ground.classes) == {"pasture, poor", "roof or paving"} | roads
    notes = " ".join(inputs.ground.notes)
    assert "Soils: no layer is named; all ground was taken as group C." in notes
    assert "Cover: no layer is named; all ground was taken as pasture, poor." in notes


KINDS = ["swale", "basin", "basin", "basin", "drain", "tree basin", "tree basin", "hollow", "tank",
         "tank"]


def test_the_starters_examples_are_valid_too(tmp_path):
    """Every commented-out part of the starter, taken in, still reads."""
    path = begin(tmp_path / "new", demo=False)
    taken_in(path)
    site = read_site(path)
    assert [work.kind for work in site.works] == KINDS
    assert [thing.what for thing in site.keep_clear] == ["septic field", "private well",
                                                         "buried water line"]
    for part in (site.roads, site.culverts, site.roofs, site.benchmark, site.money, site.doubt):
        assert part is not None
    assert len(site.evapotranspiration) == 12
    assert site.runoff.soil_moisture == "continuous"


def test_the_starters_examples_can_be_laid_out(tmp_path, write_raster, write_layer):
    """On a valley of 5 and 8 %, floor along x = 512400 and 1205.7 m high at y = 6430060, with a
    round pan in its side: the works that the starter shows all find their place."""
    folder = begin(tmp_path / "new", demo=False).parent
    taken_in(folder / "site.yaml", "culverts")
    x, y = np.meshgrid(512250.5 + np.arange(260), 6430219.5 - np.arange(240))
    heights = 1205.7 + 0.05 * (y - 6430060) + 0.08 * np.abs(x - 512400)
    about = np.hypot(x - 512460, y - 6430140)
    heights = np.where(about < 5, heights[79, 209] - 0.8, heights).astype(np.float32)
    write_raster(folder / "ground.tif", heights, corner=(512250.0, 6430220.0))
    site = box(512260, 6429995, 512500, 6430205)
    write_layer(folder / "boundary.geojson", [{"geometry": site}])
    write_layer(folder / "cover.geojson", [{"cover": "bare soil",
                                            "geometry": box(512270, 6430010, 512280, 6430020)}])
    write_layer(folder / "soils.geojson", [{"group": "B", "geometry": site}])
    write_layer(folder / "roads.geojson", [{"name": "track", "geometry": LineString(
        [(512270, 6430190), (512490, 6430190)])}])
    write_layer(folder / "roofs.geojson", [{"name": "house",
                                            "geometry": box(512352, 6430070, 512362, 6430078)},
                                           {"name": "shed",
                                            "geometry": box(512338, 6430072, 512344, 6430078)}])
    inputs, _ = check_site(folder / "site.yaml")
    assert [work.kind for work in inputs.site.works] == KINDS


def test_lists_of_which_all_is_a_comment_are_empty(small_site):
    text = small_site.read_text()
    small_site.write_text(text[:text.index("works:")] + "works:\n#   - kind: swale\nkeep clear:\n")
    site = read_site(small_site)
    assert site.works == []
    assert site.keep_clear == []


TABLE = """Point precipitation frequency estimates (millimeters)
PRECIPITATION FREQUENCY ESTIMATES
by duration for ARI (years):, 2,10,100
60-min:, 20,30,50
24-hr:, 40,60,100
"""


def test_a_storm_takes_its_depth_from_the_frequency_table(small_site):
    (small_site.parent / "pf.csv").write_text(TABLE)
    text = small_site.read_text().replace("      depth: 60 mm\n", "").replace(
        "  daily:", "  frequency: pf.csv\n  daily:")
    small_site.write_text(text)
    assert [storm.depth for storm in read_site(small_site).rain.storms] == pytest.approx(
        [20.0, 60.0])
    small_site.write_text(text.replace("return period: 10", "return period: 500"))
    with pytest.raises(InputError, match=r'line 21, storm "big day".*outside the table'):
        read_site(small_site)
    small_site.write_text(text.replace("  frequency: pf.csv\n", ""))
    with pytest.raises(InputError, match="no depth, and there is no frequency table"):
        read_site(small_site)


@pytest.mark.parametrize(("depth", "duration", "more", "deeper"), [
    ("125 mm", "24 h", "", "25.0 mm (0.98 in)"),  # the table says 100 mm in 100 years
    ("125 mm", "24 h", "  climate factor: 1.2\n", "5.0 mm (0.20 in)"),
    ("51 mm", "1 h", "", "1.0 mm"), ("100 mm", "24 h", "", None),
    ("120 mm", "24 h", "  climate factor: 1.2\n", None), ("125 mm", "48 h", "", None)])
def test_a_storm_deeper_than_the_rarest_of_the_table_is_doubted(small_site, depth, duration, more,
                                                                deeper):
    (small_site.parent / "pf.csv").write_text(TABLE)
    small_site.write_text(small_site.read_text().replace(
        "      depth: 60 mm\n", f"      depth: {depth}\n      duration: {duration}\n").replace(
        "  daily:", f"  frequency: pf.csv\n{more}  daily:"))
    said = [one for one in read_site(small_site).looked_up if "deeper than the rarest" in one]
    assert len(said) == (deeper is not None)
    for one in said:
        assert one.startswith(f'The storm "big day" (works are sized for it) is {deeper}')
        assert "once in 100 years: how often it falls is not known" in one


def test_a_natural_hollow(small_site):
    text = small_site.read_text()
    work = "  - {kind: hollow, name: pan, at: [500060, 6399920], infiltration: 4 mm/h}\n"
    small_site.write_text(text + work)
    hollow = read_site(small_site).works[-1]
    assert (hollow.kind, hollow.at, hollow.infiltration) == ("hollow", (500060.0, 6399920.0), 4.0)
    small_site.write_text(text + work.replace("infiltration: 4 mm/h", "depth: 2 m"))
    with pytest.raises(InputError, match=r'works "pan", depth: this field is not known'):
        read_site(small_site)
    small_site.write_text(text + work.replace("kind: hollow", "kind: dale"))
    with pytest.raises(InputError, match=r"'dale' is not known.*hollow or drain"):
        read_site(small_site)
