"""What the site file and its layer say of each roof: the share it gives, and its gutter."""

from __future__ import annotations

from typing import Any

from terrain.errors import InputError
from terrain.inputs.site import Land, Roofs
from terrain.inputs.site_tanks import GutterSpec
from terrain.runoff.roof_materials import material_named


def roof_share(spec: Roofs, efficiency: Any, material: Any, where: str
               ) -> tuple[Any, str, str]:
    """The share of its rain that a roof gives, its material and what the share rests on.

    The first of these that is stated: the roof's own efficiency, its own material, the efficiency
    for all, the material for all, and else the efficiency that is taken for any roof.

    Raises
    ------
    InputError
        If the material that it rests on is not known.
    """
    named = "" if material is None else str(material)
    if efficiency is not None:
        return efficiency, named, "as stated"
    for_all = spec.material or ""
    stated = "efficiency" in spec.model_fields_set
    word = named or ("" if stated else for_all)
    if not word:
        return spec.efficiency, named or for_all, "as stated for all" if stated else "assumed"
    try:
        found = material_named(word)
    except ValueError as error:
        raise InputError(where, str(error), "Use a material of docs/site-file.md, or state the "
                         "roof's efficiency") from None
    return found.share, word, found.source


def gutters_by_roof(site: Land, names: list[str]) -> dict[str, GutterSpec]:
    """The gutter of each roof that has one stated.

    Raises
    ------
    InputError
        If an entry names a roof that is not there or has another entry, or two entries are for
        all the rest.
    """
    found: dict[str, GutterSpec] = {}
    rest: GutterSpec | None = None
    for index, gutter in enumerate(site.roofs.gutters if site.roofs else []):
        where = f"{site.where('roofs', 'gutters', index)}, roofs, gutters item {index + 1}"
        if gutter.roofs is None:
            if rest is not None:
                raise InputError(where, "two entries name no roofs, and each would be for all that "
                                 "no other entry names", "Name the roofs of one of them")
            rest = gutter
        for name in gutter.roofs or []:
            if name not in names:
                raise InputError(where, f"there is no roof \"{name}\" (there are: "
                                 f"{', '.join(sorted(names)) or 'none'})",
                                 "Correct the name or add the roof to the layer")
            if name in found:
                raise InputError(where, f"the roof \"{name}\" has a gutter already",
                                 "Give each roof one entry")
            found[name] = gutter
    return found if rest is None else {name: found.get(name, rest) for name in names}
