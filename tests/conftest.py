"""A small site of known geometry, a real raster, and the installed command."""

from __future__ import annotations

import json
import logging
import os
import shutil
import subprocess
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.metadata import entry_points
from pathlib import Path
from tempfile import TemporaryFile
from types import ModuleType

import numpy as np
import pytest
from constructed import NORTH, WEST, valley
from hypothesis import settings

from cli import options

#: Files that take a process longest, which therefore begin first; so no process is left alone at
#: the end with one of them.
LONGEST = ("tests/test_demo.py", "tests/bench/test_page.py", "tests/test_house.py",
           "tests/bench/test_errands.py", "tests/suggest/test_suggest.py",
           "tests/cli/test_bench.py", "tests/outputs/sheets/test_plan_sheets.py")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put tests of the longest files first, all others in their order."""
    place = {name: number for number, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.nodeid.split("::")[0], len(place)))


# No time limit on an example, as the first one compiles kernels, and the same examples every
# time.  For more of them: HYPOTHESIS_PROFILE=long pytest.
settings.register_profile("suite", deadline=None, derandomize=True)
settings.register_profile("long", deadline=None, max_examples=3000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "suite"))

DEMO = Path(__file__).resolve().parents[1] / "demo_dem"
#: Headless, without the look-ups that a browser makes by itself.
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
             "--disable-background-networking", "--disable-component-update", "--disable-sync"]


@dataclass(frozen=True)
class Ran:
    """What the command did."""

    code: int
    out: str
    err: str

    def json(self) -> dict:
        return json.loads(self.out)


def run_process(*words: object, folder: Path | None = None, timeout: float = 240) -> Ran:
    """Run the command as installed beside this Python, in a process of its own."""
    command = Path(sys.executable).parent / "levelsill"
    done = subprocess.run([command, *map(str, words)], capture_output=True, text=True,
                          cwd=folder, timeout=timeout, check=False)
    return Ran(done.returncode, done.stdout, done.stderr)


def run_here(*words: object, folder: Path | None = None) -> Ran:
    """Run what the installed command starts within this process, and leave this process as it was.

    What it prints is caught at file descriptors 1 and 2, as compiled libraries print there too.
    """
    [command] = entry_points(group="console_scripts", name="levelsill")
    run = command.load()
    options.BARE.clear()
    root, environment = logging.getLogger(), dict(os.environ)
    handlers = root.handlers[:]
    with (pytest.MonkeyPatch.context() as patch, warnings.catch_warnings(), np.errstate(),
          heard() as said):
        patch.setattr(sys, "argv", ["levelsill", *map(str, words)])
        patch.setitem(sys.modules, "__main__", ModuleType("__main__"))  # else click names pytest
        if folder is not None:
            patch.chdir(folder)
        try:
            run()
            code = 0
        except SystemExit as ended:
            code = ended.code or 0
        finally:
            root.handlers[:] = handlers
            if environment != os.environ:
                os.environ.clear()
                os.environ.update(environment)
    if code == 130:
        raise KeyboardInterrupt  # whoever runs the tests stopped them
    return Ran(code, *said)


@contextmanager
def heard() -> Iterator[list[str]]:
    """Catch stdout and stderr, Python's and the process's own; both as text at the end."""
    said: list[str] = []
    streams, kept = (sys.stdout, sys.stderr), [os.dup(1), os.dup(2)]
    for stream in streams:
        stream.flush()
    with TemporaryFile() as out, TemporaryFile() as err:
        try:
            for number, (name, file) in enumerate((("stdout", out), ("stderr", err)), 1):
                os.dup2(file.fileno(), number)
                setattr(sys, name, os.fdopen(number, "w", encoding="utf-8",
                                             closefd=False))
            yield said
        finally:
            for number, stream in enumerate((sys.stdout, sys.stderr), 1):
                stream.close()
                os.dup2(kept[number - 1], number)
                os.close(kept[number - 1])
            sys.stdout, sys.stderr = streams
            for file in (out, err):
                file.seek(0)
                said.append(file.read().decode())


@pytest.fixture(scope="session")
def levelsill():
    """The installed command, run within this process, as starting Python anew takes seconds.

    `levelsill_process` starts it as a person does, for what only a process can show: exit codes,
    signals, broken pipes, the same bytes from another process.
    """
    return run_here


@pytest.fixture(scope="session")
def levelsill_process():
    """The installed command in a process of its own; `levelsill` is much quicker."""
    return run_process


@pytest.fixture(scope="session")
def real_raster(tmp_path_factory) -> Path:
    """The Jacksboro fault model that matplotlib ships, as a GeoTIFF in degrees."""
    import matplotlib.cbook
    import rasterio
    from rasterio.transform import from_origin

    held = np.load(matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False))
    heights = held["elevation"].astype(np.float32)
    path = tmp_path_factory.mktemp("real") / "jacksboro.tif"
    top = float(max(held["ymin"], held["ymax"]))
    with rasterio.open(path, "w", driver="GTiff", height=heights.shape[0],
                       width=heights.shape[1], count=1, dtype="float32", crs="EPSG:4326",
                       transform=from_origin(float(held["xmin"]), top, float(held["dx"]),
                                             float(held["dy"]))) as out:
        out.write(heights, 1)
    return path


@pytest.fixture(scope="session", name="write_raster")
def _write_raster():
    return write_raster


@pytest.fixture(scope="session", name="write_layer")
def _write_layer():
    return write_layer


def write_raster(path: Path, heights: np.ndarray, cell: float = 1.0,
                 crs: str | None = "EPSG:32734", unit: str | None = "metre",
                 corner: tuple[float, float] = (WEST, NORTH), **more: object) -> Path:
    """Write a north-up raster; its north-west corner at (WEST, NORTH) if left out."""
    import rasterio
    from rasterio.transform import from_origin

    with rasterio.open(path, "w", driver="GTiff", height=heights.shape[0],
                       width=heights.shape[1], count=1, dtype=heights.dtype, crs=crs,
                       transform=from_origin(*corner, cell, cell), **more) as out:
        out.write(heights, 1)
        if unit:
            out.units = (unit,)
    return path


SMALL_SITE = """\
name: Small valley
elevation:
  file: ground.tif
boundary:
  file: boundary.geojson
cover:
  file: cover.geojson
  otherwise: pasture, poor
soils:
  file: soils.geojson
  otherwise: C
roads:
  file: roads.geojson
roofs:
  file: roofs.geojson
rain:
  storms:
    - name: shower
      depth: 20 mm
      duration: 2 h
    - name: big day
      depth: 60 mm
      return period: 10
  daily:
    file: rain.csv
evapotranspiration: [220, 180, 160, 110, 80, 60, 70, 100, 130, 170, 190, 220]
works:
  - kind: swale
    name: east swale
    through: [500085, 6399940]
    length: 30 m
  - kind: basin
    name: pond
    wall: [[500040, 6399870], [500080, 6399870]]
    crest: 195.9 m
  - kind: tree basin
    name: trees
    at: [[500030, 6399900], [500035, 6399905]]
    crown: 3 m
  - kind: tank
    name: barn tank
    at: [500100, 6399900]
    volume: 5 m3
    roofs: [barn]
    demand: 50 L/day
"""


def write_layer(path: Path, rows: list[dict], crs: str = "EPSG:32734") -> Path:
    import geopandas

    geopandas.GeoDataFrame(rows, geometry="geometry", crs=crs).to_file(path)
    return path


@pytest.fixture
def small_site(tmp_path) -> Path:
    """A valley with a road, a roof and one work of each kind; the path of its site file."""
    return make_small_site(tmp_path)


@pytest.fixture(scope="session")
def small_plan(tmp_path_factory):
    """The plan of the small site as it stands, made once, for tests that only read it."""
    from terrain.plan.plan import make_plan

    return make_plan(make_small_site(tmp_path_factory.mktemp("planned")))


@pytest.fixture(scope="session")
def small_site_folder():
    return make_small_site


def make_small_site(within: Path) -> Path:
    """Write the small site into a new folder of another."""
    from shapely.geometry import LineString, box

    folder = within / "small"
    folder.mkdir()
    write_raster(folder / "ground.tif", valley())
    write_layer(folder / "boundary.geojson",
                [{"name": "all", "geometry": box(500010, 6399850, 500110, 6399980)}])
    write_layer(folder / "cover.geojson", [
        {"cover": "bare soil", "geometry": box(500070, 6399950, 500090, 6399970)}])
    write_layer(folder / "soils.geojson", [
        {"group": "B", "geometry": box(500050, 6399850, 500070, 6399980)}])
    write_layer(folder / "roads.geojson", [
        {"name": "track", "width": "4", "geometry": LineString([(500012, 6399960),
                                                                (500108, 6399955)])}])
    write_layer(folder / "roofs.geojson", [
        {"name": "barn", "geometry": box(500095, 6399890, 500105, 6399898)}])
    days = np.arange("2010-01-01", "2013-01-01", dtype="datetime64[D]")
    rain = np.where(np.arange(days.size) % 9 == 0, 14.0, 0.0)
    (folder / "rain.csv").write_text("date,rain_mm\n" + "".join(
        f"{day},{depth}\n" for day, depth in zip(days, rain, strict=True)))
    path = folder / "site.yaml"
    path.write_text(SMALL_SITE)
    return path


@pytest.fixture(scope="session")
def demo_site() -> Path:
    return DEMO / "site.yaml"


@pytest.fixture(scope="session")
def browser():
    """Debian's chromium; skipped where there is none, but never in CI."""
    found = shutil.which("chromium")
    if found is None:
        if os.environ.get("CI") == "true":
            pytest.fail("no chromium on the path, and CI=true asks for the browser tests")
        pytest.skip("no chromium on the path: apt-get install chromium to run the browser tests")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=found, args=ARGUMENTS)
        yield started
        started.close()
