"""The README's tour of the commands, which ends with the whole plan of the demo site."""

from __future__ import annotations

import csv
import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path
from types import SimpleNamespace

import geopandas
import golden
import numpy as np
import pytest
import rasterio
from scipy.interpolate import RegularGridInterpolator

HOUSE = Path(__file__).resolve().parents[1]


#: Commands that take a minute or so on the demo, each with tests of its own.
LONG = ("suggest", "prove", "district", "bench")


def tour(levelsill, folder: Path, long: bool):
    """The README's commands for a newcomer, in order, word for word: the long ones or the others.

    The folder they were run in, and what each did.
    """
    shutil.copytree(HOUSE / "demo_dem", folder / "demo_dem",
                    ignore=shutil.ignore_patterns("plan"))
    blocks = re.findall(r"```sh\n(.*?)```", (HOUSE / "README.md").read_text(), re.DOTALL)
    commands = [line for block in blocks for line in block.splitlines()
                if line.startswith("levelsill ") and (line.split()[1] in LONG) == long]
    return folder, {command: served(command, folder) if command.startswith("levelsill bench") else
                    levelsill(*shlex.split(command)[1:], folder=folder) for command in commands}


@pytest.fixture(scope="module")
def toured(levelsill, tmp_path_factory):
    return tour(levelsill, tmp_path_factory.mktemp("tour"), long=False)


def served(command: str, folder: Path):
    """What a command that serves a page did until it was ended by Ctrl-C."""
    words = [Path(sys.executable).parent / "levelsill", *shlex.split(command)[1:], "--no-browser"]
    running = subprocess.Popen(words, cwd=folder, text=True, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE)
    said = running.stdout.readline() + running.stdout.readline()
    address = said.split("\n")[1].strip()
    with urllib.request.urlopen(address, timeout=60) as page:
        assert page.status == 200
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    return SimpleNamespace(code=running.returncode, out=said + out, err=err)


@pytest.fixture(scope="module")
def planned(toured):
    """The demo site's folder with its plan in it, what the command did, and plan.json."""
    folder = toured[0] / "quailstone"
    ran = toured[1]["levelsill plan quailstone/site.yaml"]
    assert ran.code == 0, ran.err
    return folder, ran, json.loads((folder / "plan" / "plan.json").read_text())


def all_went_well(commands):
    for command, ran in commands.items():
        assert ran.code == 0, f"{command}: {ran.err}"
        assert ran.out


@pytest.mark.slow
def test_the_long_commands_of_the_tour(levelsill, tmp_path):
    levelsill("start", "quailstone", "--demo", folder=tmp_path)
    folder, commands = tour(levelsill, tmp_path, long=True)
    assert {command.split()[1] for command in commands} == set(LONG)
    all_went_well(commands)
    for name in ("demo_ideas/suggest.html", "demo_proof/proof.html", "demo_district/index.html"):
        assert (folder / name).is_file()


def test_the_tour(toured):
    folder, commands = toured
    assert len(commands) >= 8
    all_went_well(commands)
    assert (folder / "ground.png").is_file()
    assert (folder / "quailstone" / "plan" / "report.html").is_file()


def test_everything_is_written_and_named(planned):
    folder, ran, _ = planned
    for name in ("map.png", "report.html", "plan.json", "plan.gpkg", "setting_out.csv"):
        assert (folder / "plan" / name).stat().st_size > 1000
        assert name in ran.out


#: Makes a plan and prints the whole of its plan.json.
AGAIN = """
import json, sys, pathlib
from terrain.outputs.data.plan_json import plan_object
from terrain.plan.plan import make_plan
made = plan_object(make_plan(pathlib.Path(sys.argv[1])))
sys.stdout.buffer.write((json.dumps(made, indent=1, ensure_ascii=False) + chr(10)).encode())
"""


@pytest.mark.slow  # the small site's is tried in tests/sameness
def test_another_process_makes_the_same_bytes(planned):
    """It starts with nothing in its memory, and with another seed of Python's hashes."""
    folder, _, _ = planned
    again = subprocess.run([sys.executable, "-W", "ignore", "-c", AGAIN, folder / "site.yaml"],
                           capture_output=True, timeout=240, check=True,
                           env={**os.environ, "PYTHONHASHSEED": "7"})
    assert (folder / "plan" / "plan.json").read_bytes() == again.stdout


def test_headline_numbers_are_the_golden_ones(planned):
    changed = golden.changes(planned[2], golden.read())
    assert not changed, (f"{'; '.join(changed)}: if that is meant, acknowledge it with "
                         "python tests/golden/golden.py --because REASON, which writes "
                         "tests/golden/demo.csv and the change log's line")


@pytest.mark.slow
def test_a_second_run_gives_the_same_bytes(planned, levelsill_process):
    """The whole command over its own plan, in a process of its own."""
    folder, _, _ = planned
    before = (folder / "plan" / "plan.json").read_bytes()
    assert levelsill_process("plan", folder, "--out", folder / "plan").code == 0
    assert (folder / "plan" / "plan.json").read_bytes() == before


def test_it_needs_every_part_of_the_tool(planned):
    _, _, plan = planned
    assert {store["kind"] for store in plan["stores"]} == {"swale", "basin", "tree basin", "tank",
                                                        "hollow"}
    assert {shed["kind"] for shed in plan["sheds"]} == {"road", "bare ground"}
    assert plan["record"]["years"] >= 10
    names = {store["name"] for store in plan["stores"]}
    assert any(store["spills_to"] in names for store in plan["stores"])
    assert any(store["run_on_catchment_m2"] > 0 for store in plan["stores"])


def accounts(plan):
    for name in plan["totals"]["storms"]:
        yield plan["totals"]["storms"][name], [s["storms"][name] for s in plan["stores"]]
    yield plan["totals"]["average_year"], [s["average_year"] for s in plan["stores"]]


def test_every_account_closes(planned):
    """From the printed figures (rounded to a millionth of a cubic metre) alone."""
    _, _, plan = planned
    for total, stores in accounts(plan):
        for s in stores:
            went = sum(s[f"{fate}_m3"] for fate in ("infiltrated", "evaporated", "used", "held",
                                                    "spilled"))
            assert s["inflow_m3"] == pytest.approx(went, rel=1e-9, abs=1e-5)
            came = sum(s[f"{way}_m3"] for way in ("own_ground", "roof", "from_above", "grey",
                                                  "brought"))
            assert s["inflow_m3"] == pytest.approx(came, abs=1e-5)
        brought, grey = (sum(s[f"{way}_m3"] for s in stores) for way in ("brought", "grey"))
        assert (brought, grey) == pytest.approx((total["brought_m3"], total["grey_m3"]), abs=1e-5)
        # Grey water was caught by a tank before; what tankers bring is nobody's capture.
        kept = sum(s["caught_m3"] for s in stores) - grey
        assert kept - brought == pytest.approx(total["passive_m3"] + total["roof_m3"], abs=1e-4)
        assert total["rain_m3"] + total["run_on_m3"] + brought == pytest.approx(
            total["soaked_in_place_m3"] + kept + total["left_site_m3"], rel=1e-9)


def test_rain_on_the_property_is_depth_times_area(planned):
    _, _, plan = planned
    for storm in plan["storms"]:
        total = plan["totals"]["storms"][storm["name"]]
        # Cells against the drawn outline: a boundary cell is in or out as a whole.
        assert total["rain_m3"] == pytest.approx(plan["boundary_m2"] * storm["depth_mm"] / 1000,
                                                 rel=2e-3)


def test_tanks_get_what_their_roofs_give(planned):
    """1 L per m2 and mm, times the roof's efficiency, less the first flush."""
    folder, _, plan = planned
    roofs = geopandas.read_file(folder / "roofs.geojson").to_crs("EPSG:32734")
    house = roofs[roofs["name"] == "house"].iloc[0]
    tank = next(s for s in plan["stores"] if s["name"] == "house tank")
    assert tank["roof_m2"] == pytest.approx(house.geometry.area, rel=1e-6)
    for storm in plan["storms"]:
        expected = (storm["depth_mm"] - 0.5) * house.geometry.area * house["efficiency"] / 1000
        assert tank["storms"][storm["name"]]["roof_m3"] == pytest.approx(expected, rel=1e-6)


def test_fed_at_and_full_at(planned):
    """A storm just over `full at` fills the store, one well under does not."""
    _, _, plan = planned
    for store in plan["stores"]:
        for storm in plan["storms"]:
            if storm["duration_h"] != 24 or store["full_at_mm"] is None:
                continue
            spilled = store["storms"][storm["name"]]["spilled_m3"]
            if storm["depth_mm"] < store["full_at_mm"] - 0.25:
                assert spilled == 0
            if storm["depth_mm"] > store["full_at_mm"] + 1:
                assert spilled > 0


def test_layers_read_back_with_the_plans_figures(planned):
    folder, _, plan = planned
    path = folder / "plan" / "plan.gpkg"
    stores = geopandas.read_file(path, layer="stores").set_index("name")
    assert stores.crs.to_epsg() == 32734
    shapes = geopandas.read_file(path, layer="catchments").set_index("name")
    lines = geopandas.read_file(path, layer="swales").set_index("name")
    for store in plan["stores"]:
        row = stores.loc[store["name"]]
        assert row["storage_m3"] == pytest.approx(store["storage_m3"], abs=1e-6)
        assert row["caught 10-year day m3"] == pytest.approx(
            store["storms"]["10-year day"]["caught_m3"], abs=1e-5)
        if store["kind"] == "swale":
            line = lines.loc[store["name"]].geometry
            assert line.length == pytest.approx(store["length_m"], abs=1e-3)
        if store["kind"] != "tank":
            shape = shapes.loc[store["name"]]
            assert shape.geometry.area == pytest.approx(shape["area_m2"], rel=0.02)
    ways = geopandas.read_file(path, layer="longest_ways").set_index("name")
    roofs = geopandas.read_file(path, layer="roof_outlines").geometry
    for store in plan["stores"]:
        if store.get("reaches"):
            way = ways.loc[store["name"]].geometry
            total = sum(reach["length_m"] for reach in store["reaches"])
            assert way.length == pytest.approx(total, rel=1e-6)
            # All on its catchment, but for roofs that feed tanks, which stand in the way.
            ground = shapes.loc[store["name"]].geometry.buffer(1.5)
            off = way.difference(ground.union(roofs.buffer(2).union_all()))
            assert off.length < 1e-6


def test_swales_lie_on_contour(planned):
    """Every point of each line against the raster itself, read by rasterio alone."""
    folder, _, plan = planned
    with rasterio.open(folder / "ground.tif") as ground:
        for store in plan["stores"]:
            if store["kind"] != "swale":
                continue
            heights = np.array([v[0] for v in ground.sample(store["line"]["coordinates"])])
            # A cell of 1 m on a slope of 10 % spans 0.1 m; the rest is small roughness.
            assert np.abs(heights - store["level_m"]).max() < 0.2
            assert np.abs(np.median(heights - store["level_m"])) < 0.03


def test_stakes_read_back(planned):
    folder, _, plan = planned
    with open(folder / "plan" / "setting_out.csv", encoding="utf-8") as stream:
        stakes = list(csv.DictReader(stream))
    names = {stake["work"] for stake in stakes}
    assert names == {s["name"] for s in plan["stores"] if s["kind"] not in ("tank", "hollow")}
    with rasterio.open(folder / "ground.tif") as ground:
        rows, columns = np.arange(ground.height), np.arange(ground.width)
        between = RegularGridInterpolator((rows, columns), ground.read(1).astype(float))
        for stake in stakes:
            column, row = ~ground.transform * (float(stake["east"]), float(stake["north"]))
            # scipy's bilinear ground between cell centres, for places printed to 1 cm.
            height = float(between((row - 0.5, column - 0.5)))
            assert float(stake["ground_m"]) == pytest.approx(height, abs=0.005)
            assert float(stake["cut_m"]) == pytest.approx(
                float(stake["ground_m"]) - float(stake["design_m"]), abs=0.0011)


def test_report_is_one_page_that_needs_nothing_else(planned):
    folder, _, plan = planned
    page = (folder / "plan" / "report.html").read_text(encoding="utf-8")
    assert len(page) < 8_000_000
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "https://" not in page
    # What tests/outputs/page drives in a browser is fenced in.
    assert 'http-equiv="Content-Security-Policy" content="default-src ' in page
    for store in plan["stores"]:
        assert store["name"] in page


@pytest.mark.slow
def test_names_from_the_site_file_cannot_break_the_page(small_site, levelsill, tmp_path):
    text = small_site.read_text().replace("name: Small valley",
                                          'name: "<script>alert(1)</script>"')
    text = text.replace("name: east swale", 'name: "=1+1 <b>x</b>"')
    small_site.write_text(text)
    ran = levelsill("plan", small_site, "--out", tmp_path / "plan")
    assert ran.code == 0, ran.err
    page = (tmp_path / "plan" / "report.html").read_text(encoding="utf-8")
    assert "<script>alert" not in page
    assert "<b>x</b>" not in page
    with open(tmp_path / "plan" / "setting_out.csv", encoding="utf-8") as stream:
        assert not any(row["work"].startswith("=") for row in csv.DictReader(stream))
