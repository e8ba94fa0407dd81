"""A proposal for the demo, planned and flooded: what it promised is what the water does."""

from __future__ import annotations

import pytest

from terrain.outputs.suggest.site_file import site_file
from terrain.plan.plan import make_plan
from terrain.proof.flood_ground import flood_ground
from terrain.proof.proof import How, prove, storm_named
from terrain.suggest.suggest import suggest

#: Side of the flood's cells. [m]
CELL = 2.0


@pytest.mark.slow
def test_the_flood_keeps_what_the_balanced_proposal_promised(demo_site, tmp_path):
    """Outside of the search and of the cascade: shallow flow over the designed ground, cell by
    cell (`terrain.proof`), with all that stands in or soaked into the stores at its end."""
    found = suggest(demo_site)
    [proposal] = [p for p in found.proposals if p.name == "balanced"]
    at = tmp_path / "balanced"
    at.mkdir()
    (at / "site.yaml").write_text(site_file(found, proposal, at))
    plan = make_plan(at / "site.yaml")
    design = plan.inputs.site.rain.design.name
    water = proposal.water
    assert plan.storms[design].passive == pytest.approx(water.storm_kept, rel=1e-9)
    assert plan.year.passive == pytest.approx(water.year_kept, rel=1e-9)
    storm = storm_named(plan.site, None)
    proof = prove(plan, flood_ground(plan, CELL), storm, How(6.0), before=False)
    kept = sum(store.caught for store in proof.stores)
    print(f"kept {kept:.1f} m3 by the flood, {water.storm_kept:.1f} by the plan "
          f"[{water.storm_low:.1f}, {water.storm_high:.1f}]")
    for store in proof.stores:
        print(store.name, f"{store.caught:.1f} of {store.told.captured:.1f}")
    assert water.storm_low <= kept <= water.storm_high
