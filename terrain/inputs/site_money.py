"""Fields of the site file about money: what things cost here, and what water costs otherwise."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator

from terrain.inputs.fields import Part, Written
from terrain.inputs.site_tanks import Share, read_share
from terrain.units import DIMENSIONS, read_quantity

Range = tuple[float, float]
#: What the price of one piece is written as.
PRICE_OF_ONE = Written("price, `[low, high]` or one")


def _low_to_high(given: Any) -> Range:
    """A low and a high figure, or one that stands for both."""
    several = list(given) if isinstance(given, list | tuple) else [given, given]
    if len(several) != 2 or any(isinstance(one, bool) or not isinstance(one, int | float)
                                for one in several):
        raise ValueError(f"'{given}' is neither a figure nor a pair such as [80, 120]")
    low, high = (float(one) for one in several)
    if low < 0:
        raise ValueError(f"{low:g} is below 0")
    if not low <= high < float("inf"):
        raise ValueError(f"{several} does not go from a low to a high figure")
    return low, high


def _price(*dimensions: str) -> BeforeValidator:
    """A price of one unit, kept per unit inside; bare figures are per the site's own unit of the
    first dimension, and `{per: 6 m, price: [40, 60]}` names another amount."""
    def read(given: Any, info: ValidationInfo) -> Price | None:
        if given is None:
            return None
        system = (info.context or {}).get("units", "metric")
        per: Any = 1.0
        bare = not isinstance(given, dict)
        if isinstance(given, dict):
            if set(given) != {"per", "price"}:
                raise ValueError("a price has both an amount (per) and a price, such as "
                                 "{per: 5 m3, price: [80, 120]}")
            per, given = given["per"], given["price"]
        price = _low_to_high(given)
        amount, dimension = _amount(per, dimensions, system)
        if not amount > 0:
            raise ValueError(f"a price is per some amount above 0, not {per}")
        return Price(price[0] / amount, price[1] / amount, dimension,
                     (price, own_unit(dimension, system)) if bare else None)
    return BeforeValidator(read)


def _amount(per: Any, dimensions: tuple[str, ...], system: str) -> tuple[float, str]:
    for dimension in dimensions[:-1]:
        try:
            return read_quantity(per, dimension, system), dimension
        except ValueError:
            continue
    return read_quantity(per, dimensions[-1], system), dimensions[-1]


def own_unit(dimension: str, system: str) -> str:
    """The site's own unit of a dimension, as a sentence names it."""
    unit = DIMENSIONS[dimension][2 if system == "us" else 1]
    return unit.replace("**2", "²").replace("**3", "³").replace("_", " ")


def _per(dimension: str) -> Written:
    return Written(f"price per {own_unit(dimension, 'metric')} ({own_unit(dimension, 'us')}), "
                   "`[low, high]` or one")


def price_of_one(given: Any) -> Range | None:
    """The price of one piece, a low and a high figure or one that stands for both.

    Raises
    ------
    ValueError
        If it is neither, or falls.
    """
    return None if given is None else _low_to_high(given)


@dataclass(frozen=True)
class Price:
    """Money for one unit, as kept inside: a metre, m2, m3 or tonne.

    Attributes
    ----------
    low, high : float
    unit : str
        Its dimension, a key of `terrain.units.DIMENSIONS`.
    bare : ((float, float), str) or None
        What the site file says, and the site's own unit that it was taken in, where it names none.
    """

    low: float
    high: float
    unit: str
    bare: tuple[Range, str] | None = field(default=None, compare=False)

    @property
    def range(self) -> Range:
        """Low and high."""
        return self.low, self.high


def _shares(given: Any) -> Range | None:
    if given is None:
        return None
    several = list(given) if isinstance(given, list | tuple) else [given, given]
    if len(several) != 2:
        raise ValueError(f"'{given}' is no pair of shares such as [1 %, 3 %]")
    low, high = (read_share(one) for one in several)
    if low > high:
        raise ValueError(f"{several} does not go from a low to a high figure")
    return low, high


class OtherWater(Part):
    """What a m3 costs that comes another way."""

    hauled: Annotated[Price | None, _price("volume"), _per("volume")] = None
    """What water costs that a tanker brings; `{per: 5 m3, price: [330, 450]}` is a load."""
    well: Annotated[Price | None, _price("volume"), _per("volume")] = None
    """What it costs from a well."""
    utility: Annotated[Price | None, _price("volume"), _per("volume")] = None
    """What it costs from the mains."""


class Money(Part):
    """What things cost here, each from low to high; without it no money is printed."""

    currency: str
    """Its name, as it is to be printed."""
    machine_hour: Annotated[Range, PRICE_OF_ONE]
    """An hour of the machine with its operator."""
    machine_output: float | None = Field(default=None, gt=0)
    """Cubic metres in the ground that it moves an hour.
    Left out: the rules `machine bucket`, `machine fill`, `machine cycle` and `machine efficiency`
    give it for each soil."""
    haulage: Annotated[Range, PRICE_OF_ONE] = (0.0, 0.0)
    """Bringing the machine, and again fetching it."""
    pipe: Annotated[Price | None, _price("length"), _per("length")] = None
    """The works' `pipe`, laid."""
    tank: Annotated[Price | None, _price("volume"), _per("volume")] = None
    """What a tank holds, for tanks that state no `price`."""
    stone: Annotated[Price | None, _price("mass", "volume"), _per("mass")] = None
    """Stone, brought; `{per: 1 m3, price: [..]}` for a volume of loose stone."""
    sod: Annotated[Price | None, _price("area"), _per("area")] = None
    """Sod that lines furrows, laid."""
    tree: Annotated[Range | None, BeforeValidator(price_of_one), PRICE_OF_ONE] = None
    """Each tree of a tree basin."""
    seed: Annotated[Price | None, _price("area"), _per("area")] = None
    """Seed or mulch, of bank and spread earth."""
    upkeep: Annotated[Range | None, BeforeValidator(_shares),
                      Written("share, `[low, high]` or one")] = None
    """Share of the cost a year, such as `[1 %, 3 %]`.
    Left out: the rules `upkeep least` and `upkeep most`."""
    interest: Share = 0.0
    """Share a year that the money would earn elsewhere."""
    water_otherwise: OtherWater = Field(default_factory=OtherWater)
    """What water costs that comes another way."""

    @field_validator("machine_hour", "haulage", mode="before")
    @classmethod
    def _rising(cls, given: Any) -> Range:
        return _low_to_high(given)


def bare_prices(money: Money, system: str) -> list[str]:
    """What the prices that name no unit were read as, in sentences; empty where all name one.

    The same figures mean others as soon as the file's `units` are changed.
    """
    parts = ((money, ""), (money.water_otherwise, "water otherwise, "))
    found = [(before + name.replace("_", " "), price, *price.bare) for part, before in parts
             for name in type(part).model_fields
             if isinstance(price := getattr(part, name), Price) and price.bare is not None]
    if not found:
        return []
    other = "metric" if system == "us" else "us"
    per = list(dict.fromkeys(own_unit(price.unit, other) for _, price, _, _ in found))
    field, price, given, _ = found[0]
    unit = DIMENSIONS[price.unit][1].replace("**", "")
    low, high = (f"{one:.12g}" for one in given)
    return ["Read in " + money.currency + f", as the file says units: {system}: " + "; ".join(
        f"{name} {_span(figures)} per {own}" for name, _, figures, own in found) + ".",
        f"With units: {other} the same figures would be prices per {', '.join(per)}. A price that "
        f"names its unit stays what it is, such as {field.rpartition(', ')[2]}: "
        f"{{per: 1 {unit}, price: {low if low == high else f'[{low}, {high}]'}}}."]


def _span(given: Range) -> str:
    low, high = (f"{one:,.12g}" for one in given)
    return low if low == high else f"{low} to {high}"
