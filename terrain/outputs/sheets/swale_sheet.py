"""The sheet of a swale: its plan, its sections, its long profile, its figures."""

from __future__ import annotations

from matplotlib.figure import Figure

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.map_features import points_in
from terrain.outputs.sheets.sections import Section
from terrain.outputs.sheets.sheet import MARGIN, Sheet
from terrain.outputs.sheets.sheet_plan import (
    draw_subject,
    draw_water_line,
    end_plan,
    label_places,
    point_at,
)
from terrain.outputs.sheets.subject import Subject
from terrain.outputs.sheets.swale_sections import draw_stations, swale_profile, swale_section
from terrain.units import shown
from terrain.works.footprints import lower_side, swale_footprint
from terrain.works.swale_built import Swale

#: Heights of section, sections at stations and long profile. [in]
SECTION, STATIONS, PROFILE = 1.72, 1.02, 1.15


def swale_sheet(subject: Subject, swale: Swale, holds: float) -> Figure:
    """Draw the sheet. A4, landscape.

    Parameters
    ----------
    holds : float
        [m3]
    """
    from shapely.geometry import LineString
    from shapely.ops import substring

    system, route, dem = subject.system, swale.route, subject.terrain.dem
    line = LineString(route.line)
    channel, berm = swale_footprint(swale, dem)
    grows = subject.grows
    sheet = Sheet(subject.terrain, subject.bounds(line.union(channel).union(berm)), system,
                  subject.name,
                  subject.titled(f"{shown(route.length, 'length', system)} on the contour at "
                                 f"{shown(route.level, 'level', system)}"),
                  below=grows * (SECTION + STATIONS + PROFILE), block=subject.block)
    sheet.work(channel, berm)
    letter = draw_subject(sheet, subject)
    base.draw_area(sheet.plan, channel, facecolor=sy.POOL, edgecolor=sy.WATER, linewidth=0.9,
                   zorder=15, gid="channel")
    base.draw_area(sheet.plan, berm, facecolor=sy.BERM, edgecolor=sy.EARTH, linewidth=0.8,
                   zorder=15.5, gid="berm")
    sheet.labels.ink(points_in(berm, sheet.view), 0.6)
    sill = substring(line, swale.sill_from, swale.sill_to)
    draw_water_line(sheet, sill, "sill line")
    up = -lower_side(dem, route.line, max(2.5, dem.cell * 1.5))
    for check in swale.checks:
        here, left = point_at(route.line, check.chainage)
        wide = swale.section.top_width()
        across = LineString([here, here + up * wide * left])
        draw_water_line(sheet, across, "check", sy.EARTH, 2.2)
    sheet.labels.ink_line(route.line, 1.0, 3)
    sheet.corner()
    sheet.label([f"sill, {shown(swale.sill.length, 'length', system)} long"],
                label_places(sill), sy.WATER, 4.0, 90)
    sheet.chainages(route.line, up * float(swale.top_width))
    sheet.label(["swale", sy.brief(holds, "volume", system)], label_places(line), sy.WATER, 6.0)
    end_plan(sheet, subject, letter)
    section, stations, profile = (high * grows for high in (SECTION, STATIONS, PROFILE))
    above = MARGIN + profile + 0.08
    swale_section(Section(sheet.figure, MARGIN, above + stations + 0.02, sheet.left_wide, section),
                  swale, system)
    draw_stations(sheet.figure, swale, system, MARGIN, above, sheet.left_wide, stations,
                  subject.stakes)
    swale_profile(sheet.figure, MARGIN, MARGIN, sheet.left_wide, profile, swale, system)
    sheet.head("Figures")
    sheet.rows([
        ("holds, up to its sill", shown(holds, "volume", system)),
        subject.catchment_row(),
        ("level of line and sill", shown(swale.sill.level, "level", system)),
        ("sill, long", shown(swale.sill.length, "length", system)),
        ("water on the sill, design peak", shown(swale.sill.head, "size", system)),
        ("line leaves its level by up to", shown(route.deviation, "size", system)),
        ("tightest bend", "straight" if route.radius > 1e6 else
         f"{shown(route.radius, 'size', system)} in radius"),
        *subject.earth_rows(sheet, "berm as built"), *subject.spill_row()])
    sheet.storms(subject.storms, store=True)
    sheet.cautions(subject.cautions, subject.rests_on, subject.told_in)
    return sheet.figure
