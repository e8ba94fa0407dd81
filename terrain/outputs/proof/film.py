"""The storm as a film, where an encoder is there."""

from __future__ import annotations

import shutil
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.proof.storm_layers import StormLayers
from terrain.outputs.proof.words import hours, rain_words

#: Pictures a second.
FRAMES = 12
#: What the film is made with.
ENCODER = "ffmpeg"


def write_film(layers: StormLayers, path: Path) -> str:
    """Write the storm as MP4 where `ffmpeg` is there.

    Returns
    -------
    said : str
        Why there is no film, as a sentence; "" where it was written.
    """
    import subprocess

    found = shutil.which(ENCODER)
    if found is None:
        return f"No film was made: {ENCODER} is not on this machine; storm.html plays without it."
    land, over = layers.land.convert("RGBA"), layers.over
    size = (land.width - land.width % 2, land.height - land.height % 2)
    running = subprocess.Popen(
        [found, "-loglevel", "error", "-y", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s",
         f"{size[0]}x{size[1]}", "-r", str(FRAMES), "-i", "-", "-an", "-pix_fmt", "yuv420p",
         "-movflags", "+faststart", str(path)],
        stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    assert running.stdin is not None
    frames = layers.proof.after.frames
    try:
        with running.stdin as pipe:
            for time, depth in zip(frames.times, frames.depths, strict=True):
                water = layers.water(depth).convert("RGBA").resize(
                    land.size, Image.Resampling.NEAREST)
                picture = Image.alpha_composite(Image.alpha_composite(land, water), over)
                _clock(picture, f"{rain_words(layers.proof)}   {hours(time / 3600)}")
                pipe.write(picture.convert("RGB").crop((0, 0, *size)).tobytes())
    except OSError:  # it ended before it had all
        pass
    except BaseException:  # a person stopped it
        running.kill()
        running.wait()
        raise
    if running.wait() != 0 or not path.exists():
        path.unlink(missing_ok=True)
        return f"No film was made: {ENCODER} failed; storm.html plays without it."
    return ""


def _clock(picture: Image.Image, words: str) -> None:
    """The time, at the top left."""
    from matplotlib import get_data_path

    font = ImageFont.truetype(str(Path(get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"), 26)
    pen = ImageDraw.Draw(picture)
    left, top, right, bottom = pen.textbbox((18, 14), words, font=font)
    pen.rectangle((left - 10, top - 8, right + 10, bottom + 8), fill=sy.PAPER)
    pen.text((18, 14), words, font=font, fill=sy.INK)
