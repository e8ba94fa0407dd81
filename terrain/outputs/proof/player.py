"""The storm as it passes: one page that plays offline."""

from __future__ import annotations

import base64
import io
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from terrain.outputs.drawing.symbols import plain
from terrain.outputs.page.figures import with_figures
from terrain.outputs.page.policy import page_policy
from terrain.outputs.page.unseen import without_turns
from terrain.outputs.proof.depth_colours import depth_legend
from terrain.outputs.proof.gates_chart import WITH, WITHOUT
from terrain.outputs.proof.pages import filled, text_of
from terrain.outputs.proof.storm_layers import StormLayers
from terrain.outputs.proof.words import hours, rain_words
from terrain.proof.proof import Flooded, Proof
from terrain.units import shown

#: Width and height of the chart's paper.
CHART = (1000, 120)


def storm_page(proof: Proof, layers: StormLayers) -> str:
    """A page that plays the water over the designed ground; it needs nothing else."""
    from markupsafe import Markup

    style, program, system = text_of("player.css"), text_of("player.js"), proof.plan.site.units
    frames = [{"data": _png(layers.water(depth)), "told": hours(time / 3600),
               "at": f"{CHART[0] * time / 3600 / proof.until:.1f}",
               "leaves": shown(_rate(proof.after, time), "flow", system),
               "before": "" if proof.before is None else
               shown(_rate(proof.before, time), "flow", system)}
              for time, depth in zip(proof.after.frames.times, proof.after.frames.depths,
                                     strict=True)]
    wide, high = layers.part.columns, layers.part.rows
    page = filled(
        "player.html", policy=page_policy(style, program), style=Markup(style),
        program=Markup(program), title=f"{proof.plan.site.name}: {rain_words(proof)}",
        wide=1000, high=round(1000 * high / wide), coarse=wide < 700, frames=frames,
        land=_webp(layers.land), over=_webp(layers.over, True),
        symbols=_symbols(layers),
        over_phone=_webp(layers.over_phone, True), legend=depth_legend(system),
        chart=_chart(proof), chart_wide=CHART[0], chart_high=CHART[1],
        most=shown(max(run.leaves.peak for run in (proof.after, proof.before)
                       if run is not None), "flow", system),
        ends=hours(proof.until), works_only=proof.before is None,
        told=f"The ground as it will be dug, followed for {hours(proof.until)} on cells of "
        f"{plain(proof.cell, 'length', system)}.")
    return with_figures(without_turns(page), system)


#: What stands for each thing that is drawn over the water: its key, its look, its words.
SYMBOLS = (("edge", "edge", "edge of a work's full water"), ("bank", "bank", "crest of its bank"),
           ("wall", "wall", "wall of a basin"), ("sill", "sill", "sill"), ("tank", "tank", "tank"),
           ("drain", "drain", "drain"), ("roof", "roof", "roof"), ("road", "road", "road"),
           ("culvert", "culvert", "culvert or bridge"), ("boundary", "boundary", "boundary"),
           ("contour", "contour", "contours"))


def _symbols(layers: StormLayers) -> list[tuple[str, str]]:
    """Look and words of what is drawn, for the legend."""
    return [(look, words) for key, look, words in SYMBOLS if key in layers.drawn]


def _rate(run: Flooded, time: float) -> float:
    """What leaves the land at a time [s]. [m3/s]"""
    return float(np.interp(time, run.leaves.times, run.leaves.flow_out))


def _chart(proof: Proof) -> list[tuple[str, str]]:
    """Lines of what leaves the land: colour and points, without the works first."""
    wide, high = CHART
    runs = [(run, colour) for run, colour in ((proof.before, WITHOUT), (proof.after, WITH))
            if run is not None]
    most = max(max(float(run.leaves.flow_out.max()) for run, _ in runs), 1e-9)
    return [(colour, _points(run.leaves.times / 3600 / proof.until * wide,
                             high - 4 - run.leaves.flow_out / most * (high - 10)))
            for run, colour in runs]


def _points(x: NDArray[np.float64], y: NDArray[np.float64]) -> str:
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))


def _png(picture: Image.Image) -> str:
    out = io.BytesIO()
    picture.save(out, "PNG", optimize=True, transparency=picture.info["transparency"])
    return _uri(out, "png")


def _webp(picture: Image.Image, lossless: bool = False) -> str:
    out = io.BytesIO()
    more: dict[str, Any] = {"lossless": True, "quality": 60} if lossless else {"quality": 82}
    picture.save(out, "WEBP", method=4, **more)
    return _uri(out, "webp")


def _uri(out: io.BytesIO, kind: str) -> str:
    return f"data:image/{kind};base64," + base64.b64encode(out.getvalue()).decode()
