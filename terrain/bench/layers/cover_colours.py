"""A colour for each class of cover, told apart by the colour-blind too."""

from __future__ import annotations

from collections.abc import Sequence

from terrain.bench.layers.encoded import Tint

#: How far the colours cover the shaded ground.
COVER_ALPHA = 0.62
#: Colours that suit kinds of cover, by a word of the class's name; the first that fits is taken.
#: These and the spare ones are the candidates furthest from each other, on the shaded ground, to
#: usual sight and to the three kinds of colour-blindness, nearest to what each kind looks like.
SUITED = (("water", "#3c85b0"), ("roof", "#514a52"), ("paved", "#514a52"), ("road", "#fcdfa3"),
          ("bare", "#aa763c"), ("fallow", "#aa763c"), ("graded", "#aa763c"),
          ("orchard", "#568d6c"), ("woods", "#305b35"), ("aspen", "#305b35"),
          ("juniper", "#305b35"), ("farmstead", "#993c0d"), ("shrub", "#a5a56f"),
          ("brush", "#a5a56f"), ("range", "#e4ba53"), ("pasture", "#79a41f"),
          ("meadow", "#79a41f"), ("open space", "#79a41f"), ("crops", "#da9801"),
          ("grain", "#da9801"), ("legumes", "#da9801"), ("residential", "#a19be8"),
          ("district", "#a19be8"))
SPARE = ("#c394a7", "#80d0a1", "#502505", "#b9fd82", "#7f4a7f", "#670421", "#491e5f", "#b7d0e3",
         "#1f96f9", "#0e72b9", "#082a9c")
#: All of them, each once.
COVERS = tuple(dict.fromkeys((*(colour for _, colour in SUITED), *SPARE)))
#: What is left over when there are more classes than colours.
OTHER = "#9a958c"


def colours_of(names: Sequence[str]) -> list[Tint]:
    """A colour for each class, the most important first; no two have the same one.

    A class takes the colour that suits its name if no class before it did, else one that suits no
    class of these, else any that is left; once all are given away, classes share `OTHER`.
    """
    wished = [_suited(name) for name in names]
    taken: dict[int, str] = {}
    for index, colour in enumerate(wished):
        if colour is not None and colour not in taken.values():
            taken[index] = colour
    spare = dict.fromkeys((*SPARE, *COVERS))  # blues last: they are taken for water
    free = [colour for colour in spare if colour not in taken.values()]
    for index in range(len(names)):
        if index not in taken:
            taken[index] = free.pop(0) if free else OTHER
    return [Tint(taken[index], COVER_ALPHA) for index in range(len(names))]


def _suited(name: str) -> str | None:
    said = name.lower()
    return next((colour for word, colour in SUITED if word in said), None)
