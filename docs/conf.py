"""How the documentation is built, without a network: `sphinx-build -W -n -b html docs docs/_build`.

The pages are plain Markdown that reads well where it lies.  Their order is that of the lists in
`index.md`, from which the tables of contents are made here, so that it is said once.
"""

from __future__ import annotations

import re
from importlib.metadata import version as version_of

from sphinx.application import Sphinx

project = "levelsill"
author = "the people of levelsill"
release = version = version_of("levelsill")
html_show_copyright = False
language = "en-GB"

extensions = ["myst_parser"]
exclude_patterns = ["_build"]
myst_heading_anchors = 4
suppress_warnings = ["misc.highlighting_failure"]  # a listing with `...` in it is still a listing
smartquotes = False  # what is quoted from the screen stays as it was printed

html_theme = "furo"
html_title = "levelsill"
html_static_path = ["look"]
html_css_files = ["page.css"]
html_copy_source = False
html_show_sphinx = False

#: A line of a list that names a page: `- [its name](page.md) ...`.
LISTED = re.compile(r"^[-*] \[([^\]]+)\]\(([^)#:]+)\.md\)", re.MULTILINE)


def add_contents(_app: Sphinx, page: str, source: list[str]) -> None:
    """Make a table of contents of every section of `index.md` that lists pages."""
    if page != "index":
        return
    for section in re.split(r"^## ", source[0], flags=re.MULTILINE)[1:]:
        pages = LISTED.findall(section)
        if pages:
            title = section.split("\n", 1)[0]
            source[0] += "\n```{toctree}\n:hidden:\n:caption: " + title + "\n\n" + (
                "\n".join(f"{name} <{page}>" for name, page in pages) + "\n```\n")


def setup(app: Sphinx) -> dict[str, bool]:
    """Called by Sphinx."""
    app.connect("source-read", add_contents)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
