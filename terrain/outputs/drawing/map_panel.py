"""The panel beside the site map: its legend, its tables, and what it rests on."""

from __future__ import annotations

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.ground_map import GroundMap
from terrain.outputs.drawing.labels import Column, shortened
from terrain.outputs.drawing.legend import Legend, title
from terrain.outputs.drawing.map_features import datum_words, grid_words, places_words
from terrain.outputs.drawing.map_water import largest_storm, listed_words
from terrain.plan.safety.raster_edge import bound_of
from terrain.units import length_words, shown

#: On a panel lower than this the legend is small. [pt]
SMALL_PANEL = 620.0


def draw_panel(on: GroundMap, column: Column) -> None:
    """Draw the panel into the column beside the map."""
    title(column, on.plan.site.name, "Works and the ways of the water")
    design = on.plan.site.rain.design.name
    flow = (f"Water gathers, from {sy.plain(on.flow_from, 'volume', on.system)} up",
            f"in the {design}, wider with its volume")
    Legend(column, flow, column.height < SMALL_PANEL, on.run_on_words).draw(on.drawn)
    foot = _foot_lines(on, column)
    above = (len(foot) * sy.SMALL_SIZE * 1.32 + 16 if on.block is None else
             on.block.height(column, of_page(on)))
    _shed_table(on, column, above)
    _works_table(on, column, above)
    if on.block is not None:
        on.block.draw(column, of_page(on))
        return
    column.y = -column.height + above - 8
    column.rule()
    column.skip(7)
    for line in foot:
        column.text(line, sy.SMALL_SIZE, sy.SOFT_INK)


def _works_table(on: GroundMap, column: Column, above: float) -> None:
    """Catchment of each work and the rain that fills it, if all find room."""
    if not on.groups or column.room - above < 13 + 52 + 14.3 * len(on.groups):
        return
    design = on.plan.site.rain.design
    column.skip(13)
    column.text("Works", sy.HEAD_SIZE, weight="bold")
    column.skip(2)
    column.text(f"Rain that fills each, in a storm of {design.duration:g} h.", sy.SMALL_SIZE,
                sy.SOFT_INK)
    column.skip(3)
    wide = column.width
    column.row([(wide - 70, "right", "catchment"), (wide, "right", "full at")],
               sy.SMALL_SIZE, sy.SOFT_INK)
    for group in on.groups:
        stores = [on.plan.stores[i] for i in group.members]
        nodes = [on.plan.cascade.nodes[i] for i in group.members]
        area = sum(n.catchment.area + n.roof.area for n in nodes)
        full = [s.full_at for s in stores]
        filled = "never" if any(f is None for f in full) else shown(
            max(f for f in full if f is not None), "rain", on.system,
            1 if on.system == "us" else 0)
        if group.kind == "drain":
            filled = "–"
        least = {"at least ": "≥ ", "about ": "≈ ", "": ""}[
            bound_of(n.catchment for n in nodes)]
        column.row([(0, "left", shortened(on.figure, group.name, sy.TEXT_SIZE, 95)),
                    (wide - 70, "right", least + _area_words(area, on.system)),
                    (wide, "right", filled)])


def _shed_table(on: GroundMap, column: Column, above: float) -> None:
    if not on.numbered:
        return
    storm = largest_storm(on.plan)
    spec = on.plan.site.rain.storms[storm]
    room = column.room - above - 80
    size, lead = ((sy.TEXT_SIZE, 14.3) if room >= 14.3 * len(on.numbered) else
                  (sy.SMALL_SIZE, sy.SMALL_SIZE * 1.3))
    rows = min(len(on.numbered), max(int(room / lead), 0))
    if not rows:
        return
    column.skip(13)
    column.text("Roads and bare ground", sy.HEAD_SIZE, weight="bold")
    column.skip(2)
    column.text(f"Water that leaves them at each mark in the {spec.name} "
                f"({sy.plain(spec.depth, 'rain', on.system)}), and what of it fell on them.",
                sy.SMALL_SIZE, sy.SOFT_INK)
    column.skip(3)
    wide = column.width
    unit = "gal" if on.system == "us" else "m³"
    column.row([(wide - 58, "right", f"all, {unit}"), (wide, "right", f"own, {unit}")],
               sy.SMALL_SIZE, sy.SOFT_INK)
    for number, (shed, point) in enumerate(on.numbered[:rows], 1):
        name = shortened(on.figure, shed.name, size, 95)
        column.row([(6, "center", f"{number}"), (18, "left", name),
                    (wide - 58, "right", _bare_number(point.volumes[storm], on.system)),
                    (wide, "right", _bare_number(point.own_volumes[storm], on.system))],
                   size, lead=lead / size)
    others = listed_words(rows, len(on.plan.ranked_shed_points), "in the report" if on.block is None
                          else "on page Road sheds")
    if others:
        column.text(others, sy.SMALL_SIZE, sy.SHED, style="italic")


def of_page(on: GroundMap, volumes: bool = True) -> list[str]:
    """What a title block says of this map alone."""
    lines = [f"Contours every {_interval_words(on.interval, on.system)}."
             ] if on.interval else []
    if volumes:
        lines.append("Volumes are what each work holds up to its sill.")
    return [*lines, grid_words(on.dem.frame)]


def _foot_lines(on: GroundMap, column: Column) -> list[str]:
    lines = [f"Contours every {_interval_words(on.interval, on.system)}."
             ] if on.interval else []
    lines += ["Volumes are what each work holds up to its sill."]
    lines.append("Levels are heights of the elevation raster "
                 f"{on.dem.source}, in {length_words(on.system)}; "
                 + datum_words(on.dem))
    lines.append(places_words(on.dem.frame))
    return column.wrapped(" ".join(lines), sy.SMALL_SIZE, column.width)


def _area_words(area: float, system: str) -> str:
    """An area of ground."""
    return shown(area, "ground", system)


def _bare_number(volume: float, system: str) -> str:
    return sy.bare(volume, "volume", system)


def _interval_words(interval: float, system: str) -> str:
    return f"{interval / 0.3048:g} ft" if system == "us" else f"{interval:g} m"
