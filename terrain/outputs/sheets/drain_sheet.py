"""The sheet of a drain: its plan, its section, its long profile, its figures."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.sheets.drain_sections import drain_profile, drain_section
from terrain.outputs.sheets.sections import Section
from terrain.outputs.sheets.sheet import MARGIN, Sheet
from terrain.outputs.sheets.sheet_plan import draw_subject, end_plan, label_places
from terrain.outputs.sheets.subject import Subject
from terrain.units import shown
from terrain.works.drain import Drain
from terrain.works.footprints import drain_footprint
from terrain.works.lining import CALLED

#: Heights of section and long profile. [in]
SECTION, PROFILE = 1.95, 1.75


def drain_sheet(subject: Subject, drain: Drain) -> Figure:
    """Draw the sheet. A4, landscape."""
    from shapely.geometry import LineString

    system, route, section = subject.system, drain.route, drain.section
    dem = subject.terrain.dem
    high, profile = SECTION * subject.grows, PROFILE * subject.grows
    line = LineString(route.line)
    channel, bank = drain_footprint(drain, dem)
    sheet = Sheet(subject.terrain, subject.bounds(line.union(channel)), system, subject.name,
                  subject.titled(f"{shown(route.length, 'length', system)} at a grade of "
                                 f"{route.grade:.2%}"),
                  below=high + profile + 0.1, block=subject.block)
    sheet.work(channel, bank)
    letter = draw_subject(sheet, subject)
    if bank is not None and not bank.is_empty:
        base.draw_area(sheet.plan, bank, facecolor=sy.BERM, edgecolor=sy.EARTH, linewidth=0.7,
                       zorder=14.4, gid="bank")
    base.draw_area(sheet.plan, channel, facecolor=sy.POOL, edgecolor=sy.WATER, linewidth=0.9,
                   zorder=14.5, gid="channel")
    base.arrows_along(sheet.plan, route.line, sheet.view, sy.WATER, "drain", short=True)
    sheet.labels.ink_line(route.line, 1.0, 3)
    sheet.corner()
    up = 1 if route.left else -1
    sheet.chainages(route.line, up * (section.width + 2 * section.side_slope * section.depth))
    sheet.label(["drain", f"falls {route.grade:.2%}"], label_places(line), sy.WATER, 5.0)
    end_plan(sheet, subject, letter)
    drain_profile(sheet.figure, MARGIN, MARGIN, sheet.left_wide, profile, drain, system)
    middle = int(np.argmin(np.abs(route.stations - route.length / 2)))
    drain_section(Section(sheet.figure, MARGIN, MARGIN + profile + 0.1, sheet.left_wide, high),
                  drain, middle, system)
    sheet.head("Figures")
    stands = ("none, as grass" if section.permissible is None else
              shown(section.permissible, "speed", system))
    sheet.rows([
        subject.catchment_row(),
        ("lip, at its head", shown(route.start_level, "level", system)),
        ("lip, at its end", shown(route.end_level, "level", system)),
        ("bed, at its end", shown(drain.bed(route.length), "level", system)),
        ("fall over its length", shown(route.start_level - route.end_level, "level", system)),
        ("lining", CALLED[section.lining]),
        ("carries, design peak", shown(section.peak, "flow", system)),
        ("water then, deep", shown(section.water, "size", system)),
        ("water then, at up to", shown(section.velocity, "speed", system)),
        ("lining bears up to", stands),
        *subject.earth_rows(sheet, "bank as built"),
        *([("leads to", subject.leads_to)] if subject.leads_to else [])])
    sheet.cautions(subject.cautions, subject.rests_on, subject.told_in)
    return sheet.figure
