"""The folder of a search: site files, a page, a chart, maps and figures, whole or not at all."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

from terrain.files import RECORD, whole_folder
from terrain.outputs.data.answers_json import dumped
from terrain.outputs.suggest.front_chart import draw_front
from terrain.outputs.suggest.laid import standing
from terrain.outputs.suggest.proposal_map import draw_proposal
from terrain.outputs.suggest.site_file import site_file
from terrain.outputs.suggest.suggest_json import suggest_object
from terrain.outputs.suggest.suggest_page import suggest_page
from terrain.suggest.suggestion import Suggestion


def write_suggestion(suggestion: Suggestion, folder: Path,
                     progress: Callable[[str], None] = lambda what: None) -> list[Path]:
    """Write suggest.html, suggest.json, front.png where there is a front, and for each proposal a
    site file and a map.

    Raises
    ------
    InputError
        If the folder holds anything that the tool did not write.
    """
    with whole_folder(folder) as draft, suggestion.inputs.told():
        progress("Writing the proposals")
        (draft / "suggest.json").write_text(dumped(suggest_object(suggestion)) + "\n",
                                            encoding="utf-8", newline="\n")
        for one in suggestion.proposals:
            (draft / f"{one.name}.yaml").write_text(site_file(suggestion, one, folder),
                                                    encoding="utf-8")
        pictures: dict[str, bytes] = {}
        if suggestion.front:
            progress("Drawing the front")
            pictures["front"] = _png(draw_front(suggestion))
        if suggestion.proposals:
            about = standing(suggestion)
        for one in suggestion.proposals:
            progress(f"Drawing the proposal \"{one.name}\"")
            pictures[f"map_{one.name}"] = _png(draw_proposal(suggestion, one, about))
        for name, picture in pictures.items():
            (draft / f"{name}.png").write_bytes(picture)
        progress("Writing the page")
        (draft / "suggest.html").write_text(suggest_page(suggestion, pictures), encoding="utf-8")
        names = sorted(path.name for path in draft.iterdir())
    return [folder / name for name in names if name != RECORD]


def _png(figure: Any) -> bytes:
    out = io.BytesIO()
    figure.savefig(out, format="png", metadata={"Software": None})
    return out.getvalue()
