"""What the bench tells of a work: its figures, each storm, why here, and cautions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from terrain.bench.laid import Laid
from terrain.inputs import site_works as asked
from terrain.outputs.one_system import in_one
from terrain.plan.planned import PlannedStore
from terrain.plan.safety.raster_edge import bound_of
from terrain.plan.water.entry import Entry
from terrain.plan.water.routing import StoreStorm, StormRun
from terrain.runoff.ground import Roof
from terrain.units import lasting, shown

#: Words for where a spill goes that no work takes; as a value that is None.
OFF = "off the site"


@dataclass(frozen=True)
class Fate:
    """What comes to a store in a storm, and what becomes of it. [m3]

    Attributes
    ----------
    name : str
    comes, caught, spilled : float
    filled : float
        The most that it holds, as a share of what it holds at its sill; 0 of a drain.
    to : tuple of str or None
        Who takes the spill; None for off the site.
    """

    name: str
    comes: float
    caught: float
    spilled: float
    filled: float
    to: tuple[str | None, ...]


def fates(laid: Laid, run: StormRun) -> list[Fate]:
    """What a storm does to each work of the site file, tree basins of one entry together."""
    return [fate_of(laid, name, [run.stores[i] for i in laid.nodes_of(name)])
            for name in dict.fromkeys(place.work.name for place in laid.placed)]


def fate_of(laid: Laid, name: str, entries: Sequence[StoreStorm]) -> Fate:
    """What a storm does to a work, from what it does to each of its nodes."""
    nodes = laid.nodes_of(name)
    pairs = [(laid.cascade.nodes[i], entry) for i, entry in zip(nodes, entries, strict=True)]
    given = [one for node, entry in pairs for one in node.given(entry.spilled, entry.over)]
    within = float(sum(amount for to, amount in given if to in nodes))
    leaving = [(to, amount) for to, amount in given if to not in nodes]
    spilled = float(sum(amount for _, amount in leaving))
    comes = float(sum(entry.inflow for entry in entries)) - within
    held = [(min(entry.most, node.store.capacity), node.store.capacity)
            for node, entry in pairs if node.store.kind != "drain"]
    holds = sum(capacity for _, capacity in held)
    goals = dict.fromkeys(_taker(laid, to) for to, amount in leaving if amount > 0) or (
        dict.fromkeys(_taker(laid, to) for to, _ in leaving))
    return Fate(name, comes, comes - spilled, spilled,
                sum(water for water, _ in held) / holds if holds else 0.0, tuple(goals))


def _taker(laid: Laid, to: int | None) -> str | None:
    return None if to is None else laid.placed[to].work.name


def takers_words(takers: Iterable[str | None]) -> str:
    """Who takes a spill; None is off the site."""
    return " and ".join(OFF if name is None else name for name in takers)


def storm_rows(laid: Laid, name: str, system: str) -> list[tuple[str, str, str, str]]:
    """Every storm of the site file: its name and depth, what comes to a work, is caught, spills."""
    rows, through = [], laid.through(name)
    for storm in laid.inputs.site.rain.storms:
        fate = fate_of(laid, name, through[storm.name])
        rows.append((f"{storm.name}, {shown(storm.depth, 'rain', system)}",
                     shown(fate.comes, "volume", system), shown(fate.caught, "volume", system),
                     shown(fate.spilled, "volume", system)))
    return rows


def year_kept(laid: Laid, name: str) -> float | None:
    """What a work keeps in an average year; None without a record. [m3]"""
    if laid.year is None:
        return None
    entries: list[Entry] = list(laid.year.entries)
    return float(sum(entries[i].captured for i in laid.nodes_of(name)))


def fills_at(laid: Laid, name: str, system: str) -> str:
    """From which rain on a work spills, falling as the design storm does."""
    found = [laid.filled[i] for i in laid.nodes_of(name)]
    rains = [rain for rain in found if rain is not None]
    if not rains:
        return "No storm fills it."
    return f"It is full and spills from {shown(min(rains), 'rain', system)} of rain on."


def figures(laid: Laid, name: str, system: str) -> list[tuple[str, str]]:
    """Names and values of what a work is, as the plan prints them."""
    nodes = laid.nodes_of(name)
    places = [laid.placed[i] for i in nodes]
    stores = [laid.cascade.nodes[i].store for i in nodes]
    first, built = places[0], laid.built[nodes[0]]
    catchments = [laid.cascade.nodes[i].catchment for i in nodes]
    roof = sum(laid.cascade.nodes[i].roof.area for i in nodes)
    least = bound_of(catchments)
    rows: list[tuple[str, str]] = []
    if first.kind == "tank":
        rows.append(("Roofs", shown(roof, "ground", system)))
    else:
        rows.append(("Catchment", least + shown(sum(c.area for c in catchments), "ground", system)))
    if first.kind != "drain":
        rows.append(("Holds", shown(sum(s.capacity for s in stores), "volume", system)))
    rows += _sizes(laid, nodes, system)
    earth = next((w for w in laid.earth.works if w.name == name), None)
    if earth is not None and earth.cut:
        rows.append(("Earth dug", shown(earth.cut, "earth", system)))
        if earth.bank:
            rows.append(("Bank built", shown(earth.bank, "earth", system)))
    rows += _costs(laid, name)
    if first.kind not in ("tank", "drain"):
        slowest = max((s.drain_hours for s in stores), default=0.0)
        rows.append(("Soaks away in", lasting(slowest)))
        rows.append(("Soaks at", shown(stores[0].infiltration, "rate", system)))
    if built.basin is not None and built.basin.has_wall:
        rows.append(("Spillway", shown(stores[0].sill.length, "length", system)))
    ends = dict.fromkeys(_taker(laid, to) for i in nodes
                         for to in laid.cascade.nodes[i].takers if to not in nodes)
    rows.append(("Leads to" if first.kind == "drain" else "Spills to", takers_words(ends)))
    return rows


def _sizes(laid: Laid, nodes: list[int], system: str) -> list[tuple[str, str]]:
    place = laid.placed[nodes[0]]
    if place.route is not None and place.section is not None:
        depth, width, _ = place.section
        return [("Length", shown(place.route.length, "length", system)),
                ("Depth of water", shown(depth, "size", system)),
                ("Bed width", shown(width, "size", system)),
                ("Sill level", shown(place.sill_level, "level", system))]
    if place.basin is not None:
        rows = [("Sill level", shown(place.sill_level, "level", system)),
                ("Deepest water", shown(place.basin.deepest_water, "size", system)),
                ("Water covers", shown(place.basin.pool_area, "ground", system))]
        if place.basin.has_wall:
            rows[:0] = [("Crest", shown(place.basin.crest, "level", system)),
                        ("Highest bank", shown(place.basin.height, "size", system))]
        return rows
    if place.tree is not None:
        return [("Bowls", f"{len(nodes)}"),
                ("Water in each", shown(place.tree.depth, "size", system))]
    if place.drain is not None:
        return [("Length", shown(place.drain.length, "length", system)),
                ("Grade", f"{100 * place.drain.grade:.2f} %")]
    return []


def _costs(laid: Laid, name: str) -> list[tuple[str, str]]:
    """Hours of the machine, and money, for a work with what leads its spill on."""
    led = next((w.name for w in laid.earth.works if w.leads_from == name), None)
    bills = [laid.earth.bills[n] for n in (name, led) if n in laid.earth.bills]
    rows = []
    if bills:
        low, high = (sum(bill.hours[k] for bill in bills) for k in (0, 1))
        rows.append(("Machine", f"{low:.1f} to {high:.1f} h"))
    if laid.money is not None:
        paid = [w for w in laid.money.works if w.name in (name, led)]
        low, high = (sum(w.cost[k] for w in paid) for k in (0, 1))
        if high:
            rows.append(("Costs", f"{low:,.0f} to {high:,.0f} {laid.money.currency}"))
    return rows


def why(laid: Laid, name: str, system: str) -> list[str]:
    """Why a work lies, and is as large, as it does."""
    index = laid.nodes_of(name)[0]
    place, node = laid.placed[index], laid.cascade.nodes[index]
    said: list[str] = []
    ground = node.catchment.ground
    if place.kind == "tank":
        share = node.roof.area
        said.append(f"{shown(share, 'area', system)} of roof feed it." if share else
                    "No roof feeds it.")
    elif ground.area:
        number, slope = ground.mean_curve_number, 100 * ground.slope
        starts = shown(node.catchment.starts_at, "rain", system)
        said.append(f"{shown(ground.area, 'area', system)} of ground beside its own drain to it "
                    f"before any other work: on average curve number {number:.0f}, falling "
                    f"{slope:.0f} %. Water comes once {starts} of rain have fallen.")
        if ground.run_on_area:
            said.append(f"{shown(ground.run_on_area, 'area', system)} of it lie beyond the "
                        "boundary.")
    else:
        said.append("No ground drains to it of itself.")
    givers = dict.fromkeys(laid.placed[i].work.name for i, other in enumerate(laid.cascade.nodes)
                           if index in other.takers)
    if givers:
        said.append(f"It takes the spill of {', '.join(givers)}.")
    if place.swale is not None:
        said += place.swale.notes
    elif place.basin is not None and place.basin.has_wall and place.basin.wall:
        said.append(f"Each {shown(1.0, 'earth', system)} of its bank holds back "
                    f"{shown(place.basin.storage / place.basin.wall, 'volume', system)}.")
    elif place.tree is not None:
        said.append(f"Its size: {place.tree.decided}.")
    if place.kind not in ("tank", "drain"):
        said.append(f"How fast it soaks is from {node.store.rate_source}.")
    return [in_one(sentence, system) for sentence in said]


def cautions(laid: Laid, name: str, system: str) -> list[str]:
    """Every caution about a work, said once."""
    nodes = laid.nodes_of(name)
    told: dict[str, list[str]] = {}
    for i in nodes:
        planned: PlannedStore = laid.planned(i)
        for sentence in planned.cautions:
            told.setdefault(in_one(sentence, system), []).append(planned.store.name)
    return [sentence if len(names) == len(nodes) else f"{_listed(names)}: {sentence}"
            for sentence, names in told.items()]


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def roof_words(laid: Laid, roof: Roof, rain: float, system: str) -> str:
    """What a roof is and brings in a rain of some mm, before a tank's first flush."""
    takes = next((work.name for work in laid.inputs.site.works
                  if roof.name in getattr(work, "roofs", [])), None)
    brings = roof.area * roof.efficiency * rain / 1000
    fed = f"it feeds {takes}" if takes else "it feeds no tank; set one beside it with Tank"
    return (f"Roof {roof.name}: {shown(roof.area, 'area', system)} in plan, of whose rain "
            f"{100 * roof.efficiency:.0f} % come to the gutter; "
            f"{shown(rain, 'rain', system)} of rain bring "
            f"{shown(brings, 'volume', system)}; {fed}.")


def kind_words(work: object) -> str:
    """What a work is, for people."""
    if isinstance(work, asked.Basin):
        return "basin behind a wall" if work.wall else "dug basin"
    return str(getattr(work, "kind", ""))
