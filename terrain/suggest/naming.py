"""Names of candidates: by number, and none that a work of the owner has."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import count

from terrain.suggest.candidate import Candidate
from terrain.suggest.look import Look


def free_names(look: Look, words: str) -> Iterator[str]:
    """Names by number, those left out that a work of the site file has."""
    taken = {work.name for work in look.inputs.site.works}
    return (name for number in count(1) if (name := f"{words} {number}") not in taken)


def named(look: Look, words: str, candidates: Sequence[Candidate]) -> list[Candidate]:
    """Candidates of one work each, named in their order."""
    return [replace(made, name=name, works=(made.works[0].model_copy(update={"name": name}),))
            for made, name in zip(candidates, free_names(look, words), strict=False)]
