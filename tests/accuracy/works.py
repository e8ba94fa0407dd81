"""What is dug and built: channels and pipes, basins and spillways, earth, soaking, tanks."""

from __future__ import annotations

import math

import numpy as np
from constructed import formula_dem
from networks import store_of
from published import published, rows
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar
from scipy.special import lambertw
from shapely.geometry import Point

from accuracy.check import Check, by, compared
from terrain.plan.earth.cost import machine_output
from terrain.plan.water.routing import route
from terrain.runoff.green_ampt import (
    Texture,
    depth_under_rain,
    infiltration_rate,
    ponded_depth,
    ponding_time,
    textures,
)
from terrain.surface.terrain import Terrain
from terrain.works.cross_section import bank_area
from terrain.works.designed_ground import patch_of
from terrain.works.dug import design_dug
from terrain.works.ground_of_pit import pit_of
from terrain.works.gutters import pipe_capacity
from terrain.works.manning import (
    Pipe,
    Trapezoid,
    flow,
    full_flow,
    full_velocity,
    normal_depth,
    velocity,
)
from terrain.works.pool import flood
from terrain.works.roof import RoofCatchment
from terrain.works.rules import Rulebook
from terrain.works.sill import design_sill, head_for_flow, weir_flow
from terrain.works.spacing import bund_interval, horizontal_interval, terrace_interval
from terrain.works.store import tank_curve
from terrain.works.tank_rules import dry_season_storage, monthly_run
from terrain.works.tree_basin import catchment_ratio
from terrain.works.wall_profile import bank_volume

FOOT, YARD, INCH, GALLON = 0.3048, 0.9144, 0.0254, 231 * 0.0254**3
AH590 = "USDA NRCS, Agriculture Handbook 590, 1997"


def channels() -> list[Check]:
    """Water in channels, pipes and downspouts."""
    table = np.array(published("manning_trapezoid.csv"))
    shapes = [Trapezoid(row[0], row[1]) for row in table]
    by_formula = by("Manning's equation", "manning_trapezoid.csv")

    def most(what, low: float):
        return minimize_scalar(lambda d: -what(Pipe(1.0), d, 0.01, 0.013), bounds=(low, 1.0),
                               method="bounded", options={"xatol": 1e-8})
    fullest, fastest = most(flow, 0.6), most(velocity, 0.6)
    chow = "Chow, Open-Channel Hydraulics, 1959, sect. 6-4"
    plumbing = [(2, 23), (3, 67), (4, 144), (5, 261), (6, 424)]
    european = [(50, 1.7), (75, 5.0), (100, 10.7)]
    return [
        compared(by_formula, "flow in trapezoids and vees", "m³/s", table[:, 8],
                 [flow(shape, row[2], row[4], row[3])
                  for shape, row in zip(shapes, table, strict=True)], 5e-7),
        compared(by_formula, "depth of uniform flow", "m", table[:, 2],
                 [normal_depth(shape, row[8], row[4], row[3])
                  for shape, row in zip(shapes, table, strict=True)], 2e-6),
        compared(chow, "greatest flow of a pipe over that just full", "", 1.076,
                 -fullest.fun / full_flow(1.0, 0.01, 0.013), 5e-4),
        compared(chow, "depth of greatest flow over the diameter", "", 0.938, fullest.x, 5e-4),
        compared(chow, "greatest velocity over that just full", "", 1.14,
                 -fastest.fun / full_velocity(1.0, 0.01, 0.013), 5e-3),
        compared("Uniform Plumbing Code, downspouts 7/24 full (from memory)", "flow", "gal/min",
                 [gallons for _, gallons in plumbing],
                 [pipe_capacity(inches * INCH, 7 / 24, 0.00025) * 60 / GALLON
                  for inches, _ in plumbing], 0.5),
        compared("EN 12056-3, 2000, Table 8, downspouts 0.33 full (from memory)", "flow", "L/s",
                 [litres for _, litres in european],
                 [1000 * pipe_capacity(mm / 1000, 0.33, 0.00025) for mm, _ in european], 0.06),
    ]


def _level_ground() -> Terrain:
    return Terrain(formula_dem(lambda x, y: 0 * x + 10, 80, 60, 0.5))


def _routed_peak(step: float) -> tuple[float, float]:
    """Peak over a sill of 10 m from a pond of an acre, by scipy and by the plan's steps. [m3/s]"""
    area, length = 43560 * FOOT**2, 10.0
    table = np.array(published("level_pool_routing_example.csv"))
    time, inflow = table[:, 0] * 60, table[:, 1] * FOOT**3
    ends, within = np.arange(round(time[-1] / step) + 1) * step, np.linspace(0, step, 61)
    comes = np.array([np.trapezoid(np.interp(start + within, time, inflow), within)
                      for start in ends[:-1]])
    store = store_of("basin", tank_curve(area, 1.0), length)
    outflow, *_ = route(comes, store, step, start=store.capacity)
    solved = solve_ivp(lambda now, level: [(np.interp(now, time, inflow)
                                            - weir_flow(length, level[0])) / area],
                       (0, time[-1]), [0.0], max_step=20, rtol=1e-9, atol=1e-10,
                       dense_output=True)
    levels = solved.sol(np.linspace(0, time[-1], 4001))[0]
    return max(weir_flow(length, h) for h in levels), float(outflow.max() / step)


def basins() -> list[Check]:
    """Pools, dug basins, sills and what passes them."""
    fall, side, deep = 0.05, 4.0, 2.0
    checks = []
    for cell, within in ((2.0, 0.06), (1.0, 0.02), (0.5, 0.005)):
        ground = Terrain(formula_dem(lambda x, y: fall * y + abs(x) / side, 144, 144, cell, -72,
                                     -72))
        pool = flood(ground, [(-20.0, 0.0), (20.0, 0.0)], deep, "basin")
        checks.append(compared(f"geometry: a V-valley in cells of {cell:g} m",
                               "storage behind a wall", "m³", side * deep**3 / (3 * fall),
                               pool.curve.capacity, within, True, "falls faster than the cell"))
    pond = {row["quantity"]: float(row["printed"].replace(",", ""))
            for row in rows("ah590_pond_examples.csv")}
    wide, long = 88 * FOOT, 148 * FOOT
    basin = design_dug(_level_ground(), [(10, 10), (10 + long, 10), (10 + long, 10 + wide),
                                         (10, 10 + wide)], 12 * FOOT, 2.0, Rulebook(), "pond")
    weir = np.array(published("broad_crested_weir.csv"))
    ideal = (2 / 3)**1.5 * 9.80665**0.5
    chow = by("Chow, Open-Channel Hydraulics, 1959, ch. 3, a broad crest",
              "broad_crested_weir.csv")
    row = next(r for r in rows("tr55_worked_examples.csv")
               if r["quantity"].startswith("weir length"))
    sill = design_sill(105.7 * FOOT, 180 * FOOT**3, 5.7 * FOOT, Rulebook(
        {"sill coefficient": 3.2 * FOOT**0.5, "sill shortest": "0.1 m"}))
    acre = by("library scipy, solve_ivp, on inflow and pond of Chow, Maidment & Mays, 1988, "
              "Example 8.2.1", "level_pool_routing_example.csv")
    checks += [
        compared(by(AH590 + ", excavated pond", "ah590_pond_examples.csv"), "volume of a dugout",
                 "yd³", pond["volume (A+4B+C)/6 x D/27"], basin.cut / YARD**3, 0.5),
        compared(chow, "flow over a sill", "m³/s", weir[:, 2],
                 [weir_flow(length, head, ideal) for length, head, *_ in weir], 1e-5),
        compared(chow, "head of a flow", "m", weir[:, 1],
                 [head_for_flow(q, length, ideal) for length, _, q, _ in weir], 1e-4, True),
        compared(by("USDA SCS, TR-55, 2nd ed., 1986, Example 6-1", "tr55_worked_examples.csv"),
                 "length of a weir", "ft", float(row["printed"]), sill.length / FOOT, 0.05),
    ]
    for step, within, note in ((120.0, 0.015, "the plan's longest step"), (30.0, 0.004, "")):
        theirs, ours = _routed_peak(step)
        checks.append(compared(acre, f"peak over a sill, in steps of {step:g} s", "m³/s", theirs,
                               ours, within, True, note))
    return checks


def earth() -> list[Check]:
    """Earth of banks, pits and lines on the contour, and what a machine moves."""
    ends = np.array(published("embankment_end_areas.csv"))
    stations, heights, _ = np.array(published("embankment_volume_constructed.csv")).T
    level = formula_dem(lambda x, y: 0 * x + 100, 80, 80, 0.5)
    pits = []
    for depth, floor in ((0.5, 2.0), (1.5, 0.0)):
        shape = pit_of(level, Point(40, 40).buffer(3.0, quad_segs=90), 100.0, depth,
                       (3.0 - floor) / depth, "pit")
        pits.append((math.pi * depth / 3 * (9 + 3 * floor + floor**2),
                     patch_of(level, shape, 0.05).cut))
    table = np.array(published("terrace_spacing_checks.csv"))
    bunds = [(2, 40), (5, 22), (8, 17.5), (12, 15)]
    machines = rows("machine_output_formula.csv")
    return [
        compared(by(AH590 + ", geometry of the embankment tables", "embankment_end_areas.csv"),
                 "end area of a bank", "ft²", ends[:, 3],
                 [bank_area(h * FOOT, top * FOOT, both - 2.0, 2.0) / FOOT**2
                  for h, top, both, *_ in ends], 0.0051),
        compared(by("constructed: average end areas, stations of 50 ft",
                    "embankment_volume_constructed.csv"), "earth of a bank", "yd³", 675.0,
                 bank_volume(stations, heights, 6, 3, 2) / 27, 0.005),
        compared("geometry: frustum and cone, in cells of 5 cm", "earth of a round pit", "m³",
                 [want for want, _ in pits], [found for _, found in pits], 2e-3, True),
        compared(by("NRCS practice standard 600 and NEH 650 ch. 8", "terrace_spacing_checks.csv"),
                 "fall from terrace to terrace", "ft", table[:, 3],
                 [terrace_interval(row[2] / 100, row[0], row[1]) / FOOT for row in table], 0.005),
        compared("course notes on contour bunds, 0.3 (S / 3 + 2), worked by hand",
                 "distance of contour bunds", "m", [apart for _, apart in bunds],
                 [horizontal_interval(bund_interval(percent / 100, low_rain=False), percent / 100)
                  for percent, _ in bunds], 0.5),
        compared(by("US Army FM 5-434, 2000, formula", "machine_output_formula.csv"),
                 "earth an hour", "m³", [float(row["m3_bank_per_h"]) for row in machines],
                 [machine_output(Rulebook({
                     "machine bucket": row["bucket_m3"] + " m3",
                     "machine cycle": float(row["cycle_s"]),
                     "machine fill": float(row["fill_factor"]),
                     "machine efficiency": float(row["minutes_per_hour"]) / 60,
                     "loose per bank loam": float(row["loose_per_bank"])}))
                  for row in machines], 0.005),
    ]


def soaking() -> list[Check]:
    """Green and Ampt."""
    loam = Texture("silt loam", 0.501, 0.486, 167.0, 6.5)
    deficit = loam.suction_deficit(0.3)
    until = float(ponding_time(50.0, deficit, loam.conductivity))
    after = float(depth_under_rain(1.0, 50.0, deficit, loam.conductivity))
    examples = [
        ("4.3.1", "cumulative", ponded_depth(1.0, deficit, loam.conductivity) / 10),
        ("4.3.1", "rate", infiltration_rate(31.7, 56.8, loam.conductivity) / 10),
        ("4.4.1", "ponding time at 1 cm/h", ponding_time(10.0, 56.8, loam.conductivity)),
        ("4.4.1", "ponding time at 5 cm/h", ponding_time(50.0, 56.8, loam.conductivity)),
        ("4.4.1", "infiltration to ponding",
         depth_under_rain(until, 50.0, deficit, loam.conductivity) / 10),
        ("4.4.2", "cumulative", after / 10),
        ("4.4.2", "rate", infiltration_rate(after, deficit, loam.conductivity) / 10)]
    checks = []
    for number, quantity, ours in examples:
        row = next(r for r in rows("green_ampt_worked_examples.csv")
                   if r["example"] == number and quantity in r["quantity"])
        last = 0.5 * 10.0 ** -len(row["printed"].partition(".")[2])
        checks.append(compared(
            by(f"Chow, Maidment & Mays, Applied Hydrology, 1988, Example {number}",
               "green_ampt_worked_examples.csv"), row["quantity"], row["unit"],
            float(row["printed"]), float(ours), last * (1 + 1e-9)))
    times = np.geomspace(0.01, 20, 60)
    x = loam.conductivity * times / deficit
    soils = [textures()[name] for name in ("sand", "loam", "clay")]
    fine, own = [], []
    for soil in soils:
        suction, k = soil.suction_deficit(0.2), soil.conductivity
        solved = solve_ivp(lambda t, depth, s=suction, k=k: k * (1 + s / depth), (0, 10), [1.0],
                           rtol=1e-10, atol=1e-10, t_eval=[0.1, 1, 10])
        fine.append(solved.y[0])
        own.append(1.0 + ponded_depth(solved.t, suction, k, 1.0))
    return [
        *checks,
        compared("closed form by Lambert's function, scipy", "depth soaked in", "mm",
                 deficit * (-lambertw(-np.exp(-1 - x), -1).real - 1),
                 ponded_depth(times, deficit, loam.conductivity), 1e-9, True),
        compared("library scipy, solve_ivp", "depth soaked in, three soils", "mm",
                 np.concatenate(fine), np.concatenate(own), 1e-7, True),
    ]


def tanks() -> list[Check]:
    """Roofs, tanks, and ground that a tree asks for."""
    constant = {row["quantity"]: float(row["value"]) for row in rows("conversions.csv")}
    large = RoofCatchment(1000 * FOOT**2, 1000 * FOOT**2).runoff(25.4) / GALLON
    case = {row["case"]: float(row["printed"]) for row in rows("roof_examples.csv")}
    home = "Home Power, Sizing a whole-house rainwater system"
    theirs, ours = [], []
    for name, rule in (("after spillage (YAS)", "after"), ("before spillage (YBS)", "before")):
        year = [row for row in rows("tank_yas_ybs_constructed.csv") if row["rule"] == name]
        found = monthly_run([float(row["inflow_m3"]) for row in year], 3.0, 15.0, rule, 5.0)
        theirs += [float(row["yield_m3"]) for row in year]
        ours += list(found.drawn)
    use = case["two people 35 gal/day each, 3 months of 90 days"]
    supply = np.array([9000.0] * 9 + [1000 / 3] * 3)
    fao = {row["section"]: row for row in rows("fao_water_harvesting_ratio.csv")}

    def ratio(section: str) -> float:
        row = next(row for name, row in fao.items() if name.startswith(section))
        return float(catchment_ratio(*(float(row[name]) for name in (
            "water_requirement_mm", "design_rainfall_mm", "runoff_coefficient", "efficiency"))))
    water = by("Critchley & Siegert, FAO AGL/MISC/17/91, 1991, section ",
               "fao_water_harvesting_ratio.csv").replace("section  (", "section 4.3 (")
    return [
        compared(by("definitions of gallon and foot", "conversions.csv"),
                 "an inch of rain on 1,000 ft² of roof", "gal",
                 constant["1 inch on 1000 ft2 in gal"], large, 0.005),
        compared(home, "the same", "gal", case["1 in on 1,000 ft2"], large, 0.5),
        compared(home, "tank that bridges three dry months", "gal",
                 case["tank to bridge 3 dry months less 1,000 gal of supply"],
                 dry_season_storage(supply * GALLON, use / 3 * GALLON) / GALLON, 0.5),
        compared(by("constructed, rules of Jenkins and others, 1978, as in Fewkes & Butler, 2000",
                    "tank_yas_ybs_constructed.csv"), "water drawn by month", "m³", theirs, ours,
                 5e-5),
        compared(water, "catchment over cultivated ground, examples 1 and 2", "", [7.2, 3.2],
                 [ratio("4.3 example 1"), ratio("4.3 example 2")], 0.05),
        compared(water, "catchment over cultivated ground, example 3", "", 2.0,
                 ratio("4.3 example 3"), 0.5, note="printed as about 2"),
        compared(water.replace("4.3", "4.4"), "ground of one tree", "m²", 84.0,
                 10 * ratio("4.4") + 10, 0.5),
    ]
