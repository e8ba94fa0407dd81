"""Make the pictures of these pages anew, from what the tutorial's commands wrote.

    python docs/look/make_pictures.py FOLDER

FOLDER is where the tutorial was followed.  The report is opened in Debian's `chromium`.
"""

from __future__ import annotations

import sys
from io import BytesIO
from pathlib import Path

import pypdfium2
from PIL import Image
from playwright.sync_api import sync_playwright

PICTURES = Path(__file__).resolve().parents[1] / "pictures"
WIDTH = 1000
#: Pictures that commands wrote.
WRITTEN = {"ground": "survey.png", "shed": "shed.png", "swale": "swale.png", "rain": "months.png",
           "as_built": "as_built.png", "proof": "quailstone_proof/depth.png"}
#: Pages of what was made to be printed, by words in their heading.
PRINTED = {"road_sheds": "Road sheds", "field_book": "Field book: upper swale",
           "calendar": "Field book: upkeep through the year"}


def keep(picture: Image.Image, name: str) -> None:
    """Write a picture, small enough for a page."""
    shown = picture.convert("RGB")
    shown.thumbnail((WIDTH, 2 * WIDTH))
    shown.save(PICTURES / f"{name}.jpg", quality=72, optimize=True)


def main(folder: Path) -> None:
    """Make all of them from a folder in which the tutorial was followed."""
    PICTURES.mkdir(exist_ok=True)
    for name, file in WRITTEN.items():
        with Image.open(folder / file) as picture:
            keep(picture, name)
    plan = folder / "quailstone" / "plan"
    with pypdfium2.PdfDocument(plan / "plan_set.pdf") as printed:
        for name, heading in PRINTED.items():
            words = [page.get_textpage().get_text_range() for page in printed]
            page = printed[next(number for number, said in enumerate(words)
                                if heading in said and "Contents and figures" not in said)]
            keep(page.render(scale=2).to_pil(), name)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1200, "height": 1500})
        page.goto((plan / "report.html").as_uri())
        keep(Image.open(BytesIO(page.screenshot())), "report")
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve())
