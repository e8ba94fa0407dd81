"""The folder of a proof: pictures, the playing page, surfaces and figures, whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from rasterio.transform import from_origin

from terrain.files import RECORD, whole_folder
from terrain.outputs.data.answers_json import dumped
from terrain.outputs.gis.surfaces import Band, write_raster
from terrain.outputs.proof.flood_map import draw_before_after, draw_deepest, draw_gates
from terrain.outputs.proof.player import storm_page, write_film
from terrain.outputs.proof.proof_json import proof_object
from terrain.proof.proof import Proof
from terrain.proof.what_if import WhatIf


def write_proof(proof: Proof, folder: Path, cases: Sequence[WhatIf] = (),
                progress: Callable[[str], None] = lambda what: None) -> list[Path]:
    """Write proof.json, depth.png, before_after.png, gates.png, storm.html, storm.mp4 where
    `ffmpeg` is there, and flood.tif.

    Raises
    ------
    InputError
        If the folder holds anything that the tool did not write.
    """
    with whole_folder(folder) as draft, proof.plan.inputs.told():
        progress("Drawing the flood")
        (draft / "proof.json").write_text(dumped(proof_object(proof, cases)) + "\n",
                                          encoding="utf-8")
        bare = {"Software": None}
        draw_deepest(proof).savefig(draft / "depth.png", metadata=bare)
        if proof.before is not None:
            draw_before_after(proof).savefig(draft / "before_after.png", metadata=bare)
        draw_gates(proof).savefig(draft / "gates.png", metadata=bare)
        progress("Writing the page that plays")
        (draft / "storm.html").write_text(storm_page(proof), encoding="utf-8")
        write_film(proof, draft / "storm.mp4")
        _surfaces(proof, draft / "flood.tif")
        names = sorted(path.name for path in draft.iterdir())
    return [folder / name for name in names if name != RECORD]


def _surfaces(proof: Proof, path: Path) -> None:
    flow, grid = proof.after.flow, proof.ground.grid
    write_raster(path, [
        Band("deepest water, m", "m", flow.greatest_depth),
        Band("fastest water, m/s", "m/s", flow.greatest_speed),
        Band("greatest depth times speed, m2/s", "m2/s", flow.greatest_depth_speed),
        Band("hours until water is 10 mm deep", "h", flow.arrival / 3600),
        Band("designed ground, m", "m", proof.ground.after)],
        from_origin(grid.left, grid.top, grid.cell, grid.cell), proof.plan.terrain.dem.frame,
        {"storm": proof.storm, "rain_mm": f"{proof.depth:g}"}, average=False)

