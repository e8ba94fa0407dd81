"""Tables of a screening: heads, and rows of printed figures."""

from __future__ import annotations

from terrain.district.screened import Ground, Screened, Screening
from terrain.outputs.district.figures import ranks_of
from terrain.outputs.district.told import land, own_at_least, run_on_at_least, volume
from terrain.outputs.district.words import design_name, has_year, kept, water_told
from terrain.outputs.page.money_tables import figure
from terrain.units import shown

STORMS = ("rain", "falls", "own ground", "run-on", "catchable", "of it from roads", "roofs")


def ranking_heads(screening: Screening) -> tuple[str, ...]:
    """Heads of `ranking_rows`."""
    year = ("year, ground", "year, roofs") if has_year(screening) else ("roofs",)
    return ("rank", "parcel", "area", "own", "run-on", "catchable", "of it from roads", *year,
            "swale keeps", "basin keeps")


def ranking_rows(screening: Screening, system: str) -> list[list[str]]:
    """Parcels that were screened, the best first."""
    return [_ranked(rank, one, screening, system)
            for rank, one in zip(ranks_of(screening), screening.parcels, strict=True)
            if rank is not None]


def _ranked(rank: int, one: Screened, screening: Screening, system: str) -> list[str]:
    water = one.storms[screening.design]
    own, least = _least(one, screening)
    row = [str(rank), one.parcel.name, land(one.parcel.area, system),
           own + _volume(water.own, system), least + _volume(water.run_on, system),
           least + _volume(water.catchable, system), _volume(water.road, system)]
    if has_year(screening):
        row += ["–", "–"] if one.year is None else [
            least + _volume(one.year.catchable, system), _volume(one.year.roof, system)]
    else:
        row.append(_volume(water_told(one, screening).roof, system))
    return [*row, _kept(one.swale, screening, system), _kept(one.basin, screening, system)]


def _least(one: Screened, screening: Screening) -> tuple[str, str]:
    """What stands before own water, and before run-on and what it is a part of."""
    return ("≥\u00a0" if own_at_least(one, screening) else "",
            "≥\u00a0" if run_on_at_least(one, screening) else "")


def _kept(ground: Ground | None, screening: Screening, system: str) -> str:
    return "–" if ground is None else _volume(kept(ground, screening), system)


def storm_rows(one: Screened, screening: Screening, system: str) -> list[list[str]]:
    """Rows to `STORMS`: what each storm, and an average year, brings to a parcel."""
    own, least = _least(one, screening)
    return [["average year" if water is one.year else water.name, shown(water.rain, "rain", system),
             own + _volume(water.own, system), least + _volume(water.run_on, system),
             least + _volume(water.catchable, system), _volume(water.road, system),
             _volume(water.roof, system)]
            for water in (*one.storms, *(() if one.year is None else (one.year,)))]


def best_heads(screening: Screening) -> tuple[str, ...]:
    """Heads of `best_rows`."""
    money = (() if screening.district.money is None else
             (f"cost, {screening.district.money.currency}",))
    year = ("year keeps",) if has_year(screening) else ()
    return ("best ground for", "holds", "drains", f"{design_name(screening)} brings",
            "of it keeps", *year, "to dig", "machine", *money)


def best_rows(one: Screened, screening: Screening, system: str) -> list[list[str]]:
    """The best ground for a swale and for a basin of a parcel."""
    return [_best(what, ground, screening, system)
            for what, ground in (("a swale", one.swale), ("a basin", one.basin))
            if ground is not None]


def _best(what: str, ground: Ground, screening: Screening, system: str) -> list[str]:
    called = f"a {ground.kind}" if ground.kind != "wall" else "a basin behind a wall"
    row = [what if ground.kind == "swale" else called, _volume(ground.storage, system),
           land(ground.catchment, system),
           _volume(ground.comes[screening.design], system),
           _volume(ground.kept[screening.design], system)]
    if has_year(screening):
        row.append("–" if ground.kept_in_year is None else _volume(ground.kept_in_year, system))
    row += [shown(ground.cut, "earth", system), f"{ground.hours:,.1f} h"]
    if screening.district.money is not None:
        row.append("–" if ground.money is None else figure(ground.money))
    return row


def _volume(value: float, system: str) -> str:
    return volume(value, system, 0 if value == 0 or system == "us" or value >= 100 else 1)
