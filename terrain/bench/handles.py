"""What of a work can be taken hold of on the map, and the work after it was moved."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from shapely import LineString, Point

from terrain.bench.sketch import Sketch
from terrain.inputs import site_works as asked
from terrain.plan.siting.layout import Placed

#: No swale is drawn shorter. [m]
SHORTEST = 4.0


@dataclass(frozen=True)
class Handle:
    """A place of a work that can be dragged.

    Attributes
    ----------
    key : str
        Which one: a field of the entry, and the number of its point where it has several.
    x, y : float
        [m]
    said : str
        What it is, for people.
    whole : bool
        Whether the work moves with it.
    """

    key: str
    x: float
    y: float
    said: str
    whole: bool = False


def handles_of(work: Any, placed: list[Placed], sketch: Sketch) -> list[Handle]:
    """Handles of a work that lies."""
    place = placed[0]
    if isinstance(work, asked.Swale):
        return _of_swale(work, place, sketch)
    if isinstance(work, asked.Basin):
        found = _points("wall", work.wall, "end of the wall", sketch)
        found += _points("dug", work.dug, "corner of the rim", sketch)
        middle = place.outline.representative_point()
        if work.wall is None:
            found.append(Handle("whole", float(middle.x), float(middle.y), "the whole basin", True))
        return found
    if isinstance(work, asked.TreeBasin):
        if work.at is not None:
            return _points("at", work.at, "tree", sketch)
        return [] if isinstance(work.along, str) else _points("along", work.along, "row", sketch)
    if isinstance(work, asked.Drain):
        found = [Handle("from_", *sketch.working(work.from_), "where the drain begins")]
        if not isinstance(work.to, str):
            found.append(Handle("to", *sketch.working(work.to), "where it leads"))
        return found
    found = [Handle("at", *sketch.working(work.at), f"the {work.kind}", True)]
    return found + _points("pipe", work.pipe, "bend of the pipe", sketch)[1:]


def _points(field: str, points: Any, said: str, sketch: Sketch) -> list[Handle]:
    return [Handle(f"{field} {i}", *sketch.working(point), said)
            for i, point in enumerate(points or [])]


def _of_swale(work: asked.Swale, place: Placed, sketch: Sketch) -> list[Handle]:
    assert place.route is not None
    if work.along is not None:
        return _points("along", work.along, "point of its line", sketch)
    line = place.route.line
    middle = work.through or work.near
    assert middle is not None  # the site file was refused without a start
    return [Handle("start", float(line[0][0]), float(line[0][1]), "end of the swale"),
            Handle("end", float(line[-1][0]), float(line[-1][1]), "end of the swale"),
            Handle("sill_at", place.spill_x, place.spill_y, "its sill"),
            Handle("through" if work.through else "near", *sketch.working(middle),
                   "where its contour passes", True)]


def moved(work: Any, placed: list[Placed], key: str, x: float, y: float, sketch: Sketch) -> Any:
    """The entry of a work after one of its handles was brought to a place.

    Parameters
    ----------
    placed : list of Placed
        The work as it lay when the drag began.

    Raises
    ------
    InputError
        If the ground there is not known.
    """
    sketch.ground(x, y)
    point = sketch.stated(x, y)
    if key in ("start", "end"):
        return _swale_end_moved(work, placed[0], key, x, y, sketch)
    if key == "whole":
        return _basin_moved(work, placed[0], x, y, sketch)
    if key in ("through", "near", "sill_at", "from_", "to"):
        return work.model_copy(update={key: point})
    if key == "at":
        update: dict[str, Any] = {"at": point}
        if isinstance(work, asked.Tank) and work.pipe:
            update["pipe"] = [point, *work.pipe[1:]]
        return work.model_copy(update=update)
    field, _, number = key.rpartition(" ")
    points = list(getattr(work, field))
    points[int(number)] = point
    return work.model_copy(update={field: points})


def _swale_end_moved(work: asked.Swale, place: Placed, key: str, x: float, y: float,
                     sketch: Sketch) -> asked.Swale:
    """The swale from its other end to the place on its contour nearest to a point."""
    assert place.swale is not None  # asked for swales alone
    assert place.route is not None
    whole = LineString(place.swale.traced[0].line)
    other = place.route.line[-1 if key == "start" else 0]
    held, to = whole.project(Point(other)), whole.project(Point(x, y))
    if abs(to - held) < SHORTEST:
        to = held + (SHORTEST if to >= held else -SHORTEST)
    middle = whole.interpolate((held + to) / 2)
    field = "through" if work.through is not None else "near"
    return work.model_copy(update={
        field: sketch.stated(float(middle.x), float(middle.y)), "length": abs(to - held),
        "solve": None if work.solve == "length" else work.solve})


def _basin_moved(work: asked.Basin, place: Placed, x: float, y: float, sketch: Sketch
                 ) -> asked.Basin:
    middle = place.outline.representative_point()
    off = x - float(middle.x), y - float(middle.y)
    rim = [sketch.working(point) for point in work.dug or []]
    return work.model_copy(update={
        "dug": [sketch.stated(px + off[0], py + off[1]) for px, py in rim]})
