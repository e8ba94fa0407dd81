"""The folder of a proof: a page, pictures, surfaces and figures, whole or not at all."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from rasterio.transform import from_origin

from terrain.files import RECORD, whole_folder
from terrain.outputs.data.answers_json import dumped
from terrain.outputs.gis.surfaces import Band, write_raster
from terrain.outputs.proof.film import write_film
from terrain.outputs.proof.flood_pages import draw_before_after, draw_deepest
from terrain.outputs.proof.gates_chart import draw_gates
from terrain.outputs.proof.player import storm_page
from terrain.outputs.proof.proof_json import proof_object
from terrain.outputs.proof.proof_page import proof_page
from terrain.outputs.proof.storm_layers import StormLayers
from terrain.proof.proof import Proof
from terrain.proof.what_if import WhatIf


def write_proof(proof: Proof, folder: Path, cases: Sequence[WhatIf] = (),
                progress: Callable[[str], None] = lambda what: None) -> list[Path]:
    """Write proof.html, proof.json, depth.png, before_after.png where the storm was run without
    the works too, gates.png, storm.html, storm.mp4 where `ffmpeg` is there, and flood.tif.

    Raises
    ------
    InputError
        If the folder holds anything that the tool did not write.
    """
    with whole_folder(folder) as draft, proof.plan.inputs.told():
        progress("Drawing the flood")
        (draft / "proof.json").write_text(dumped(proof_object(proof, cases)) + "\n",
                                          encoding="utf-8", newline="\n")
        pictures = {"depth": _png(draw_deepest(proof)), "gates": _png(draw_gates(proof))}
        if proof.before is not None:
            pictures["before_after"] = _png(draw_before_after(proof))
        for name, picture in pictures.items():
            (draft / f"{name}.png").write_bytes(picture)
        (draft / "proof.html").write_text(proof_page(proof, cases, pictures), encoding="utf-8")
        progress("Writing the page that plays")
        layers = StormLayers(proof)
        (draft / "storm.html").write_text(storm_page(proof, layers), encoding="utf-8")
        without = write_film(layers, draft / "storm.mp4")
        if without:
            progress(without.rstrip("."))
        _surfaces(proof, draft / "flood.tif")
        names = sorted(path.name for path in draft.iterdir())
    return [folder / name for name in names if name != RECORD]


def _png(figure: Any) -> bytes:
    out = io.BytesIO()
    figure.savefig(out, format="png", metadata={"Software": None})
    return out.getvalue()


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
