"""The site file's text."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from making.drawn import EAST, NORTH, Grid
from making.used_ground import at
from making.works import half


def write_site(folder: Path, z: Grid, known: dict, works: dict) -> None:
    """Write site.yaml, with the works where the ground wants them."""
    def xy(p: Grid) -> str:
        return f"[{half(p[0] + EAST):.1f}, {half(p[1] + NORTH):.1f}]"

    def many(points: list[Grid]) -> str:
        return "[" + ", ".join(xy(p) for p in points) + "]"

    pair = works["pair"]
    mark = np.array([191.5, 309.0])
    text = SITE.format(
        mark=xy(mark), mark_level=f"{at(z, *mark):.2f}",
        upper=xy(pair["upper"][len(pair["upper"]) // 2]), upper_sill=xy(pair["sill"]),
        upper_length=len(pair["upper"]) // 5 * 5,
        lower=xy(pair["lower"][len(pair["lower"]) // 2]), lower_length=len(pair["lower"]) // 5 * 5,
        wall=many(works["wall"]), crest=f"{works['crest']:.2f}", sill=f"{works['sill']:.2f}",
        pit=many(works["pit"]), pan=xy(known["pan"]), foot=xy(works["foot"]),
        trees=many(works["trees"]),
        house_tank=xy(works["house_tank"]), shed_tank=xy(works["shed_tank"]),
        barrels=xy(works["barrels"]),
        pipe=many([works["house_tank"], works["bend"], works["inlet"]]))
    (folder / "site.yaml").write_text(text, encoding="utf-8")


SITE = """\
# Quailstone: a dry smallholding that does not exist.  Every number here is invented.
name: Quailstone
units: metric          # what a number without a unit means
points: raster         # points below are [east, north] in the elevation raster's own frame

# The ground: a bare-earth raster with 1 m cells, heights in metres.
elevation:
  file: ground.tif

# Your land.  Rain on the neighbour's slope above it still runs on to it.
boundary:
  file: site.gpkg
  layer: boundary

# What covers the ground.  Where no polygon lies, the `otherwise` class is taken.
cover:
  file: site.gpkg
  layer: cover
  field: cover
  otherwise: herbaceous range, fair

# Soil groups: A soaks fast, D sheds most of its rain.
soils:
  file: site.gpkg
  layer: soils
  field: group
  otherwise: C

# Roads shed water from almost every shower; their width stands in the layer.
roads:
  file: site.gpkg
  layer: roads
  name field: name
  width field: width
  cover field: cover

# Roofs seen from above (this file is in longitude and latitude; that is fine).
roofs:
  file: roofs.geojson
  name field: name
  efficiency field: efficiency
  efficiency: 0.9      # for a roof that states none
  gutters:
    - roofs: [house]
      width: 125 mm
      downspouts: 2
      diameter: 90 mm
    - roofs: [shed]
      width: 100 mm
      diameter: 75 mm

# What works are to stay away from.
keep clear:
  - what: septic field
    file: site.gpkg
    layer: septic
  - what: buried water line
    file: site.gpkg
    layer: buried
  - what: tree
    file: site.gpkg
    layer: trees
    crown field: crown

# The storms to plan for, and a daily record to live through.
rain:
  storms:
    - name: small shower
      depth: 12 mm
      duration: 2 h
      pattern: II
    - name: summer storm
      depth: 28 mm
      duration: 3 h
      pattern: II
    # Depths of these stand in the table below; nested builds the storm from it.
    - name: 10-year cloudburst
      duration: 1 h
      pattern: nested
      return period: 10
    - name: 2-year day
      duration: 24 h
      pattern: II
      return period: 2
    - name: 10-year day
      duration: 24 h
      pattern: II
      return period: 10
    - name: 100-year day
      duration: 24 h
      pattern: II
      return period: 100
  design storm: 10-year day        # sills are sized for this one
  frequency: rain_depths.csv
  start month: 7                   # years begin in the dry season
  daily:
    file: rain_daily.csv
    unit: mm

# What a well-watered grass would use each month, January to December.
# South of the equator: the hot months stand at both ends.
evapotranspiration: [225 mm, 184 mm, 165 mm, 116 mm, 84 mm, 63 mm,
                     70 mm, 98 mm, 132 mm, 172 mm, 196 mm, 221 mm]

# An iron pin in the rock behind the house; all stakes are set from it.
benchmark:
  at: {mark}
  level: {mark_level} m

# What things cost here, from the low to the high quote.
money:
  currency: crown
  machine hour: [420, 560]
  machine output: 6                # bank m3 in an hour
  haulage: [300, 500]
  pipe: [9, 16]                    # a metre, trench and all
  tank: [700, 1100]                # a m3; a tank may state its own price
  stone: [60, 95]                  # a tonne, brought
  tree: [40, 90]
  seed: [0.6, 1.4]                 # a m2 of bank and spread earth, with mulch
  water otherwise:                 # what a m3 costs that comes another way
    hauled: {{per: 5 m3, price: [330, 450]}}
    well: [2.5, 4]
    utility: [6, 9]

# For `levelsill suggest`: what a layout is to do best, and what it may cost.
suggest:
  aim: water in a year
  budget: 60000
  infiltration: 12 mm/h            # what the hole tests on the slope took in

# What is to be dug, built or set up, from the top of the land down.
works:

  # Two level channels on the slope below the road; the upper spills on to the lower.
  # A hole test beside each took in 12 mm/h.
  - name: upper swale
    kind: swale
    through: {upper}
    length: {upper_length} m
    depth: 0.35 m
    sill at: {upper_sill}
    infiltration: 12 mm/h
  - name: lower swale
    kind: swale
    through: {lower}
    length: {lower_length} m
    depth: 0.4 m
    infiltration: 12 mm/h
    # A row of young trees below its berm lives from what soaks in.
    trees:
      crown: 3 m
      spacing: 6 m

  # A low bank across the gully where a rib of rock pinches it.  Hole test: 6 mm/h.
  - name: gully pond
    kind: basin
    wall: {wall}
    crest: {crest} m
    sill: {sill} m
    infiltration: 6 mm/h

  # A pit where the road's mitre drain lets its water go.
  - name: road basin
    kind: basin
    dug: {pit}
    depth: 0.8 m
    batter: 3

  # A pan that was always there, east of the gully.  Its clay floor takes in 3 mm/h.
  - name: east pan
    kind: hollow
    at: {pan}
    infiltration: 3 mm/h

  # The yard sheds into a short swale, and that swale's spill waters the young trees.
  - name: yard swale
    kind: swale
    through: {foot}
    length: 34 m
    depth: 0.3 m
    infiltration: 12 mm/h
    spills to: orchard
  - name: orchard
    kind: tree basin
    at: {trees}
    crown: 3 m
    depth: 0.25 m

  # Roofs and their tanks.  The house tank's overflow is piped to the yard swale.
  - name: house tank
    kind: tank
    at: {house_tank}
    volume: 40 m3
    roofs: [house]
    first flush: 0.5 mm
    leaf screen: basket
    # Two people, and what seedlings get while there is plenty.  Half of the house's water goes on
    # to the first orchard tree.
    uses:
      - name: house
        kind: household
        heads: 2
        per head: intermediate access
        rationing: [{{below: 40 %, draw: 80 %}}, {{below: 15 %, draw: 50 %}}]
        grey water: 50 %
        grey water to: orchard
      - name: seedlings
        kind: garden
        amount: [40 L/day, 40 L/day, 30 L/day, 20 L/day, 10 L/day, 5 L/day,
                 5 L/day, 10 L/day, 20 L/day, 30 L/day, 35 L/day, 40 L/day]
        rationing: [{{below: 40 %, draw: 0}}]
    pipe: {pipe}
  - name: shed tank
    kind: tank
    at: {shed_tank}
    volume: 15 m3
    roofs: [shed]
    demand: 60 L/day
    first flush: 0.5 mm
  - name: goat barrels
    kind: tank
    at: {barrels}
    volume: 1.2 m3
    roofs: [goat shed, tarp by the pen, milking awning]
    uses:
      - name: goats
        kind: livestock
        heads: 8
        per head: goat
    top up: {{below: 0.2 m3, load: 1 m3, price: 90}}
    price: [350, 500]
"""
