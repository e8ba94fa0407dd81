from __future__ import annotations

from dataclasses import replace

import pytest


@pytest.fixture(scope="session")
def proof(small_plan):
    """A cloudburst over the small site on cells of 2 m, with the works and without."""
    from terrain.proof.flood_ground import flood_ground
    from terrain.proof.proof import How, prove

    return prove(small_plan, flood_ground(small_plan, 2.0), cloudburst(small_plan), How(0.5))


@pytest.fixture(scope="session")
def cases(proof):
    """What may give way: one that the site has none of, and one with water over a bank and an
    unsafe road; made up, as tests/proof runs them."""
    from terrain.proof.store_proof import OverBank
    from terrain.proof.what_if import WhatIf

    first, *others = proof.stores
    burst = (replace(first, over_bank=OverBank(58.6, *proof.after.leaves.where, 0.12)), *others)
    road = next(s for s in proof.spots if "road" in s.what)
    return (WhatIf("as planned", "Everything is as it was planned.", proof.after, proof.stores,
                   proof.spots),
            WhatIf("culvert blocked", "The site file names no culvert."),
            WhatIf("sill blocked", "The sill of \"pond\" is heaped over.", proof.before, burst,
                   (replace(road, hazard="unsafe for small vehicles"),)))


@pytest.fixture(scope="session")
def us_proof(proof):
    """The same proof, printed in US customary units."""
    site = proof.plan.site.model_copy(update={"units": "us"})
    plan = replace(proof.plan, inputs=replace(proof.plan.inputs, site=site))
    return replace(proof, plan=plan)


@pytest.fixture(scope="session")
def folder(proof, cases, tmp_path_factory):
    """Its folder, as the command writes it where no encoder is."""
    from terrain.outputs.proof import proof_folder

    said = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PATH", "/nowhere")
        path = tmp_path_factory.mktemp("proof") / "out"
        written = proof_folder.write_proof(proof, path, cases, said.append)
    return path, written, said


def cloudburst(plan):
    """The small site's shower, deeper, so that stores spill."""
    from terrain.proof.proof import storm_named

    return storm_named(plan.site, "shower").model_copy(update={"depth": 45.0})
