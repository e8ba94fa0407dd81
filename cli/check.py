"""levelsill check: read everything, change nothing."""

from __future__ import annotations

from pathlib import Path

import click

from cli import options
from cli.console import facts, progress, remarks, say


@click.command()
@options.site
def check(site: Path) -> None:
    """Read a site file and all it names, and say what is wrong; nothing is written.

    \b
    levelsill check site.yaml
    """
    from terrain.inputs.site_money import bare_prices
    from terrain.plan.plan import check_site
    from terrain.plan.siting.reading import assumptions
    from terrain.units import shown

    with progress() as step:
        inputs, beware = check_site(site, step)
    place, ground = inputs.site, inputs.ground
    system = place.units
    say(f"{place.name}: everything could be read and laid out.")
    record = inputs.record
    facts([("property", shown(float(ground.boundary.area), "land", system)),
           ("raster", f"{inputs.dem.source}, {inputs.dem.shape[1]:,} by {inputs.dem.shape[0]:,} "
                      f"cells of {shown(inputs.dem.cell, 'length', system, 2)}"),
           ("cover", "; ".join(sorted({ground.classes[i] for i in set(ground.cover[ground.inside])
                                       if i >= 0}))),
           ("roads", ", ".join(road.name for road in ground.roads) or "none"),
           ("roofs", ", ".join(roof.name for roof in ground.roofs) or "none"),
           ("storms", ", ".join(f"{s.name} {shown(s.depth, 'rain', system)}"
                                for s in place.rain.storms)),
           ("design storm", place.rain.design.name),
           ("rain record", "none" if record is None else
            f"{record.depths.index[0].date()} to {record.depths.index[-1].date()}, "
            f"{int(record.depths.isna().sum())} days missing"),
           ("works", ", ".join(work.name for work in place.works) or "none")])
    remarks("Beware", beware)
    if place.money is not None:
        remarks("Prices without a unit", bare_prices(place.money, system))
    remarks("What was taken for granted", assumptions(inputs))
