"""levelsill prove: a storm run over the ground as it will be dug."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli import options
from cli.console import facts, heading, progress, remarks, say, table


@click.command()
@options.site
@click.option("--storm", "name", metavar="NAME",
              help="A storm of the site file; the design storm if left out.")
@click.option("--cell", type=options.Quantity("length"), metavar="LENGTH",
              help="Side of a cell; at most 1 m if left out.")
@click.option("--hours-after", type=click.FloatRange(0, 240), default=6.0, show_default=True,
              help="Hours that the water is followed after the rain.")
@click.option("--green-ampt", is_flag=True,
              help="Let water soak in by soil, on its way too, in place of curve numbers.")
@click.option("--full", is_flag=True,
              help="Keep the water's momentum, for jets and breaking banks; twenty times slower.")
@click.option("--what-if", "cases", is_flag=True,
              help="And again with a bank low, a sill and a culvert blocked, and twice the rain.")
@click.option("--work", metavar="NAME", help="The work whose bank or sill gives way in that.")
@click.option("--works-only", is_flag=True, help="Leave out the run without the works.")
@click.option("--patient", is_flag=True, help="Begin a run that takes half an hour or more.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False),
              help="Folder for the answer as a page, maps, a page that plays the storm, rasters.")
@options.as_json
def prove(site: Path, name: str | None, cell: float | None, hours_after: float,
          green_ampt: bool, full: bool, cases: bool, work: str | None, works_only: bool,
          patient: bool, out: Path | None, as_json: bool) -> None:
    """Flood the designed ground: where the water goes, beside what the plan says.

    \b
    levelsill prove site.yaml
    levelsill prove site.yaml --storm 'summer storm' --out proof
    levelsill prove site.yaml --what-if
    """
    from terrain.errors import InputError
    from terrain.files import is_folder, refuse_foreign
    from terrain.inputs.site import read_site
    from terrain.plan.plan import make_plan
    from terrain.plan.water.names_first import refuse_no_work
    from terrain.proof.flood_ground import flood_ground
    from terrain.proof.proof import How, storm_named
    from terrain.proof.proof import prove as prove_plan
    from terrain.proof.what_if import what_if

    if out is not None:
        refuse_foreign(out)  # before the work, not after it
    if work is not None and not cases:
        raise InputError("--work", "it names the work that gives way, and nothing is to give way",
                         "Add --what-if")
    if name is not None or work is not None:  # before the work, not after it
        stated = read_site(site / "site.yaml" if is_folder(site) else site)
        storm_named(stated, name)
        refuse_no_work(work, "--work", stated, "Name one of them")
    how = How(hours_after, "full" if full else "local inertia", None, patient)
    with progress() as step:
        plan = make_plan(site, step)
        click.get_current_context().with_resource(
            plan.inputs.told("metric" if as_json else None))
        storm = storm_named(plan.site, name)
        step("Laying out the ground for the flood")
        ground = flood_ground(plan, cell, green_ampt)
        if work is not None:
            followed = [plan.stores[pool.index].store.name for pool in ground.pools]
            if work not in followed:  # before the work, not after it
                raise InputError("--work", f"no store that the flood follows is called '{work}'",
                                 f"Name one of {', '.join(followed)}")
        found = prove_plan(plan, ground, storm, how, before=not works_only, progress=step)
        tried = what_if(found, storm, how, work, step) if cases else ()
        if out is not None:
            from terrain.outputs.proof.proof_folder import write_proof

            written = write_proof(found, out, tried, step)
    if as_json:
        from terrain.outputs.data.answers_json import dumped
        from terrain.outputs.proof.proof_json import proof_object

        say(dumped(proof_object(found, tried)))
    else:
        _show(found, tried)
    if out is not None:
        click.echo("".join(f"Written: {path}\n" for path in written), err=True, nl=False)


def _show(found: Any, tried: Any) -> None:
    """The answer and what is dangerous, then the tables, then what all of it rests on."""
    from terrain.outputs.one_system import in_one
    from terrain.outputs.proof import words

    system, frame = found.plan.site.units, found.plan.terrain.dem.frame
    say(f"{found.plan.site.name}: {words.rain_words(found)}, run over the designed ground and "
        f"followed for {words.hours(found.until)}")
    remarks("The answer", words.answer_lines(found, system))
    remarks("What is dangerous", words.all_dangers(found, tried, system))
    heading("What comes to each store, and what it keeps")
    table(words.WATER, words.water_rows(found.stores, system))
    heading("How high its water stands")
    table(words.LEVELS, words.level_rows(found.stores, system))
    remarks("Why they differ", [in_one(f"{s.name}: {line}", system)
                                for s in found.stores for line in s.why])
    heading("What leaves the land")
    table(words.LEAVING, words.leaving_rows(found, system))
    if found.spots:
        heading("At buildings, roads and the boundary")
        table(words.SPOTS[:-1], [row[:-1] for row in words.spot_rows(found.spots, system)])
    if found.fast:
        heading("Ground over which water runs faster than it stands")
        table(words.FASTS, words.fast_rows(found.fast, frame, system))
    if tried:
        heading("What if")
        table(words.CASES, words.case_rows(tried, system))
        remarks("What was tried", [in_one(f"{name}: {line}", system)
                                   for name, line in words.case_lines(tried)[1:]])
    heading("Where the water went")
    facts(words.account_lines(found, system))
    remarks("What this rests on", [in_one(line, system) for line in found.notes])
