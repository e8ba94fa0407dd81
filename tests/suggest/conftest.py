"""Random hillsides with candidates on them, and what a layout does there, cell by cell."""

from __future__ import annotations

from dataclasses import dataclass, replace
from graphlib import CycleError, TopologicalSorter
from itertools import combinations

import numpy as np
import pytest
import yaml
from constructed import dem_of, valley
from scipy.ndimage import gaussian_filter
from shapely import LineString, Point, box

from terrain.suggest.candidate import Candidate, Cost
from terrain.suggest.model import Model
from terrain.suggest.network import crossings, network_of
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP
from terrain.surface.terrain import Terrain


@dataclass(frozen=True)
class Hillside:
    """Candidates on a random hillside.

    `runoff` is of each kind of rain and cell; `ways` tells for each different way of the water
    which candidates stand at the cells that it passes, one after the other, and how much of each
    kind of rain takes it; `spills` the same of what each candidate spills.
    """

    candidates: tuple[Candidate, ...]
    direction: np.ndarray
    runoff: tuple[np.ndarray, ...]
    model: Model
    ways: dict[tuple[frozenset[int], ...], np.ndarray]
    spills: tuple[tuple[frozenset[int], ...], ...]

    @property
    def count(self) -> int:
        return len(self.candidates)

    def told(self, chosen) -> tuple[dict[int, np.ndarray] | None, float]:
        """What each of some candidates keeps of each kind of rain, and the aim: the water of every
        cell followed to the first that is built, and on from its sill.  None in a circle.
        """
        model, built = self.model, frozenset(chosen) | self.model.stands
        comes = {j: np.zeros(model.days.size) for j in built}
        for way, water in self.ways.items():
            to = _first(way, built)
            if to is not None:
                comes[to] = comes[to] + water
        goes = {j: _first(self.spills[j], built - {j}) for j in built}
        above = TopologicalSorter({j: [i for i in built if goes[i] == j] for j in built})
        try:
            order = list(above.static_order())
        except CycleError:
            return None, -np.inf
        kept = {}
        for j in order:
            kept[j] = np.minimum(comes[j], model.room[j])
            if goes[j] is not None:
                comes[goes[j]] = comes[goes[j]] + comes[j] - kept[j]
        water = {j: float(kept[j] @ model.days) for j in built}
        if model.trees is None:
            return kept, sum(water[j] * model.worth[j] + model.gift[j] for j in built)
        return kept, sum(min(water[j] / model.thirst[j], model.trees[j])
                         for j in built if model.trees[j])

    def choices(self) -> list[frozenset[int]]:
        """Every choice of candidates that can stand together and with what stands."""
        pairs = {frozenset(pair) for clash in self.model.clashes
                 for pair in combinations(clash, 2)}
        free = sorted(set(range(self.count)) - self.model.stands)
        found = []
        for size in range(len(free) + 1):
            for some in combinations(free, size):
                together = self.model.stands | frozenset(some)
                if not any(pair <= together for pair in pairs):
                    found.append(frozenset(some))
        return found

    def cost(self, chosen, limit: str = "money") -> float:
        return sum(float(self.model.costs[limit][j]) for j in chosen)

    def best(self, limits: dict[str, float]) -> float:
        """The most that any choice within limits reaches, each of them tried."""
        return max(self.told(chosen)[1] for chosen in self.choices() if all(
            self.cost(chosen, name) <= most * (1 + 1e-9) for name, most in limits.items()))


def _first(way, built):
    for there in way:
        found = there & built
        if found:
            [one] = found
            return one
    return None


def _walked(direction, marks, cell) -> tuple[frozenset[int], ...]:
    """The candidates at each cell of the water's way that has any, the same ones running once."""
    found = []
    row, column = cell
    while True:
        there = marks.get((row, column))
        if there and (not found or found[-1] != there):
            found.append(there)
        way = int(direction[row, column])
        if way > 7:
            return tuple(found)
        row, column = row + int(ROW_STEP[way]), column + int(COLUMN_STEP[way])


def _line(random, heights) -> list[tuple[int, int]]:
    """Cells of a short line that keeps its height as well as it can."""
    rows, columns = heights.shape
    at = (int(random.integers(2, rows - 2)), int(random.integers(2, columns - 2)))
    level, found = heights[at], [at]
    for _ in range(int(random.integers(2, 8))):
        near = [(at[0] + r, at[1] + c) for r, c in ((0, 1), (1, 0), (0, -1), (-1, 0))]
        near = [(r, c) for r, c in near
                if 0 <= r < rows and 0 <= c < columns and (r, c) not in found]
        if not near:
            break
        at = min(near, key=lambda cell: abs(heights[cell] - level))
        found.append(at)
    return found


def _blob(random, heights) -> list[tuple[int, int]]:
    rows, columns = heights.shape
    row, column = int(random.integers(2, rows - 2)), int(random.integers(2, columns - 2))
    return [(r, c) for r in range(row - 1, row + 2) for c in range(column - 1, column + 2)
            if abs(r - row) + abs(c - column) < 2 or random.random() < 0.5]


def _below(random, direction, cells):
    """A cell that the water of one of some cells runs on to, none of theirs; None without one."""
    row, column = cells[int(random.integers(len(cells)))]
    while (row, column) in cells:
        way = int(direction[row, column])
        if way > 7:
            return None
        row, column = row + int(ROW_STEP[way]), column + int(COLUMN_STEP[way])
    return row, column


def hillside(seed: int, count: int, kinds: int, *, trees: bool = False, gifts: bool = False,
             worths: bool = False, stands: int = 0) -> Hillside:
    """A hillside with so many candidates, by chance; all water is worth the same unless asked."""
    random = np.random.default_rng(seed)
    shape = tuple(int(n) for n in random.integers(24, 37, 2))
    row, column = np.mgrid[0:shape[0], 0:shape[1]]
    rough = gaussian_filter(random.normal(size=shape), random.uniform(1.5, 4))
    heights = (50 - random.uniform(0.02, 0.1) * row + random.uniform(-0.03, 0.03) * column
               + rough / rough.std() * random.uniform(0.05, 0.6))
    direction = Terrain(dem_of(heights)).direction
    runoff = tuple(random.uniform(0.2, 1, shape) * random.uniform(0.5, 2) for _ in range(kinds))
    candidates, taken = [], {}
    while len(candidates) < count:
        cells = (_line if random.random() < 0.75 else _blob)(random, heights)
        spill = _below(random, direction, cells)
        if spill is None:
            continue
        for cell in cells:
            taken.setdefault(cell, set()).add(len(candidates))
        candidates.append(Candidate(
            f"place {len(candidates)}", "swale", (), np.array(cells), spill, None, 1.0, 1.0, 1.0,
            Cost(float(random.uniform(1, 10)), float(random.uniform(1, 10)), 1.0)))
    marks = {cell: frozenset(there) for cell, there in taken.items()}
    ways: dict = {}
    for cell in np.ndindex(shape):
        way = _walked(direction, marks, cell)
        ways[way] = ways.get(way, 0.0) + np.array([part[cell] for part in runoff])
    spills = tuple(_walked(direction, marks, c.spill) for c in candidates)
    pairs = {tuple(sorted(pair)) for there in marks.values() for pair in combinations(there, 2)}
    if random.random() < 0.5:
        pairs.add(tuple(sorted(int(j) for j in random.choice(count, 2, replace=False))))
    kept: list[int] = []
    for j in random.permutation(count)[:stands].tolist():
        if all(tuple(sorted((i, j))) not in pairs for i in kept):
            kept.append(j)
    total = np.array([part.sum() for part in runoff])
    room = random.uniform(0.02, 0.5, (count, kinds)) * total / 4
    model = Model(
        network_of(crossings(candidates, direction, runoff)), room,
        random.uniform(1, 30, kinds), random.uniform(0.5, 2, count) if worths else np.ones(count),
        random.uniform(0, 20, count) if gifts else np.zeros(count),
        {name: np.array([0.0 if j in kept else c.cost.of(name)
                         for j, c in enumerate(candidates)]) for name in ("money", "hours")},
        tuple(sorted(pairs)), frozenset(kept))
    if trees:
        model = replace(model, trees=random.integers(0, 6, count),
                        thirst=random.uniform(0.02, 0.5, count) * float(total @ model.days) / 10)
    return Hillside(tuple(candidates), direction, runoff, model, ways, spills)


@pytest.fixture(scope="session", name="hillside")
def _hillside():
    return hillside


VALLEY = """\
name: Valley to lay out
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
keep clear:
  - what: septic field
    file: septic.geojson
  - what: private well
    file: well.geojson
rain:
  storms:
    - name: shower
      depth: 20 mm
      duration: 2 h
    - name: big day
      depth: 60 mm
      return period: 10
  design storm: big day
  daily:
    file: rain.csv
evapotranspiration: [220, 180, 160, 110, 80, 60, 70, 100, 130, 170, 190, 220]
money:
  currency: crown
  machine hour: [420, 560]
  machine output: 6
  haulage: [300, 500]
  stone: [60, 95]
  tree: [40, 90]
  seed: [0.6, 1.4]
suggest:
  infiltration: 15 mm/h
  budget: 12000
  places: 40
works:
  - kind: swale
    name: east swale
    through: [500085, 6399935]
    length: 20 m
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
#: What lies on it, as the layers hold it.
LIES = {"boundary": box(500002, 6399842, 500118, 6399998),
        "road": LineString([(500004, 6399968), (500116, 6399962)]),
        "roof": box(500095, 6399890, 500105, 6399898),
        "septic field": box(500020, 6399925, 500028, 6399931),
        "private well": Point(500100, 6399870)}
ROAD_WIDTH = 4.0


@pytest.fixture(scope="session")
def lies():
    """Shapes of what lies on the valley to lay out, and the width of its road."""
    return LIES, ROAD_WIDTH


@pytest.fixture(scope="session")
def valley_site(write_raster, write_layer):
    """Writes the valley to lay out into a folder, some of its file changed."""
    def made(folder, **changed):
        random = np.random.default_rng(7)
        rough = gaussian_filter(random.normal(size=(160, 120)), 12)
        heights = valley() + 0.4 * rough / rough.std()
        write_raster(folder / "ground.tif", heights.astype(np.float32))
        write_layer(folder / "boundary.geojson", [{"name": "all", "geometry": LIES["boundary"]}])
        write_layer(folder / "cover.geojson", [
            {"cover": "bare soil", "geometry": box(500060, 6399930, 500100, 6399960)}])
        write_layer(folder / "soils.geojson", [
            {"group": "B", "geometry": box(500050, 6399850, 500070, 6399980)}])
        write_layer(folder / "roads.geojson", [{"name": "track", "width": str(ROAD_WIDTH),
                                                "geometry": LIES["road"]}])
        write_layer(folder / "roofs.geojson", [{"name": "barn", "geometry": LIES["roof"]}])
        write_layer(folder / "septic.geojson", [{"name": "s", "geometry": LIES["septic field"]}])
        write_layer(folder / "well.geojson", [{"name": "w", "geometry": LIES["private well"]}])
        days = np.arange("2006-01-01", "2013-01-01", dtype="datetime64[D]")
        rain = np.round(np.where(random.random(days.size) < 0.12,
                                 random.gamma(0.8, 18, days.size), 0), 1)
        (folder / "rain.csv").write_text("date,rain_mm\n" + "".join(
            f"{day},{depth}\n" for day, depth in zip(days, rain, strict=True)))
        site = yaml.safe_load(VALLEY)
        for name, given in changed.items():
            field = name.replace("_", " ")
            if given is None:
                del site[field]
            else:
                site[field] = {**site.get(field, {}), **given} if isinstance(given, dict) else given
        path = folder / "site.yaml"
        path.write_text(yaml.safe_dump(site, sort_keys=False))
        return path
    return made
