"""The storm as it passes: one page that plays offline, and a film where an encoder is there."""

from __future__ import annotations

import base64
import io
import shutil
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from terrain.outputs.page.policy import page_policy
from terrain.outputs.proof.flood_map import BLUES, DEPTHS, shaded, water_colours
from terrain.outputs.proof.words import deep, hours
from terrain.proof.proof import Proof
from terrain.units import shown

#: Pictures are no larger. [px]
LONGEST = 900
#: Of the film, a second.
FRAMES = 12


def storm_page(proof: Proof) -> str:
    """A page that plays the water over the designed ground; it needs nothing else."""
    from jinja2 import Environment
    from markupsafe import Markup

    def text(name: str) -> str:
        return resources.files("terrain.outputs.proof").joinpath(name).read_text("utf-8")

    style, program, system = text("player.css"), text("player.js"), proof.plan.site.units
    land = Image.fromarray(shaded(proof.ground, proof.ground.after)).convert("RGB")
    frames = [{"data": _uri(Image.fromarray(water_colours(depth / 1000.0), "RGBA")),
               "told": hours(time / 3600)} for time, depth in zip(
                   proof.after.frames.times, proof.after.frames.depths, strict=True)]
    legend = [(colour, f"{deep(low, system)} or more")
              for colour, low in zip(BLUES, DEPTHS, strict=True)]
    page = Environment(autoescape=True).from_string(text("player.html")).render(
        policy=page_policy(style, program), style=Markup(style), program=Markup(program),
        title=f"{proof.plan.site.name}: {proof.storm}", land=_uri(land), frames=frames,
        legend=legend, told=f"{shown(proof.depth, 'rain', system)} of rain over the ground as it "
        f"will be dug, followed for {proof.until:.0f} hours; cells of {proof.cell:g} m.")
    return str(page)


def _small(picture: Image.Image) -> Image.Image:
    share = min(LONGEST / max(picture.size), 1.0)
    return picture.resize((max(int(picture.width * share), 1), max(int(picture.height * share), 1)),
                          Image.Resampling.BOX)


def _uri(picture: Image.Image) -> str:
    out = io.BytesIO()
    _small(picture).save(out, "WEBP", quality=70, method=2, exact=False)
    return "data:image/webp;base64," + base64.b64encode(out.getvalue()).decode()


def write_film(proof: Proof, path: Path) -> bool:
    """Write the same as MP4 where `ffmpeg` is there; whether it was."""
    if shutil.which("ffmpeg") is None:
        return False
    import subprocess

    land = np.asarray(_small(Image.fromarray(shaded(proof.ground, proof.ground.after))
                             .convert("RGB")))
    rows, columns = (n - n % 2 for n in land.shape[:2])
    running = subprocess.Popen(
        ["ffmpeg", "-loglevel", "error", "-y", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s",
         f"{columns}x{rows}", "-r", str(FRAMES), "-i", "-", "-pix_fmt", "yuv420p", str(path)],
        stdin=subprocess.PIPE, stderr=subprocess.DEVNULL)
    assert running.stdin is not None
    for depth in proof.after.frames.depths:
        running.stdin.write(_over(land, depth)[:rows, :columns].tobytes())
    running.stdin.close()
    return running.wait() == 0


def _over(land: NDArray[np.uint8], depth: NDArray[Any]) -> NDArray[np.uint8]:
    water = np.asarray(_small(Image.fromarray(water_colours(depth / 1000.0), "RGBA")), float)
    share = water[..., 3:] / 255
    return np.asarray(np.rint(land * (1 - share) + water[..., :3] * share), np.uint8)
