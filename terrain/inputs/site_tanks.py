"""Fields of the site file about roofs' gutters and the uses of a tank's water."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationInfo, model_validator

from terrain.inputs.fields import Length, Part, Use, Volume, Written
from terrain.units import read_quantity

#: How a use of water is read.
_USE: BeforeValidator = Use.__metadata__[0]  # type: ignore[attr-defined]

#: A gutter and a downspout are this wide at most; common practice, no source. [m]
WIDEST_GUTTER = 1.0
#: A gutter falls by no more than this; common practice, no source.
STEEPEST_GUTTER = 0.1


def read_share(given: Any) -> float:
    """A share such as ``"30 %"`` or 0.3.

    Raises
    ------
    ValueError
        If it is no share between 0 and 1.
    """
    text = str(given).strip()
    try:
        if isinstance(given, bool):
            raise ValueError
        share = float(text[:-1]) / 100 if text.endswith("%") else float(text)
    except ValueError:
        raise ValueError(f"'{given}' is not a share such as 30 % or 0.3") from None
    if not 0 <= share <= 1:
        raise ValueError(f"a share of {given} is not between 0 and 100 %")
    return share


def _share_or_volume(given: Any, info: ValidationInfo) -> tuple[float | None, float | None]:
    """A share of the tank, or a volume [m3]."""
    text = str(given).strip()
    if isinstance(given, str) and not text.endswith("%") and any(c.isalpha() for c in text):
        volume = read_quantity(text, "volume", (info.context or {}).get("units", "metric"))
        if not volume > 0:
            raise ValueError(f"{given} is not above 0")
        return None, volume
    share = read_share(given)
    if not share > 0:
        raise ValueError(f"{given} is not above 0")
    return share, None


def _by_month(given: Any, info: ValidationInfo) -> tuple[float, ...] | None:
    """A use a day, the same in every month or one for each. [m3/day]"""
    if given is None:
        return None
    several = list(given) if isinstance(given, list | tuple) else [given]
    if len(several) not in (1, 12):
        raise ValueError(f"it has {len(several)} amounts, and one or twelve by month, January "
                         "first, are needed")
    amounts = tuple(float(_USE.func(one, info)) for one in several)  # type: ignore[call-arg]
    if not any(amounts):
        raise ValueError("nothing is used, as no amount is above 0")
    return amounts * (12 // len(amounts))


def _per_head(given: Any, info: ValidationInfo) -> float | str | None:
    """A use a day [m3/day], or the word for a published one."""
    if given is None or (isinstance(given, str) and not any(c.isdigit() for c in given)):
        return given
    amount = float(_USE.func(given, info))  # type: ignore[call-arg]
    if not amount > 0:
        raise ValueError(f"{given} is not above 0")
    return amount


Share = Annotated[float, BeforeValidator(read_share), Written("share, such as `30 %`")]


class Ration(Part):
    """Below a share of the tank no more than a share of what is wanted is drawn."""

    below: Share
    """Share of what the store can hold. The step counts on a morning on which it holds less; of
    several the lowest that counts."""
    draw: Share
    """No more than this share of the use is drawn then."""


class WaterUse(Part):
    """One use of a tank's water: a household, livestock, wildlife, a garden or another."""

    name: str = Field(min_length=1)
    """What it is called."""
    kind: Literal["household", "livestock", "wildlife", "garden", "other"]
    """Whose it is."""
    amount: Annotated[tuple[float, ...] | None, BeforeValidator(_by_month),
                      Written("use of water a day (L/day; gal/day), or a list of 12")] = None
    """A day: one, or twelve by month, January first.
    Left out: `heads` and `per head` tell it."""
    heads: float | None = Field(default=None, gt=0)
    """How many people or animals."""
    per_head: Annotated[float | str | None, BeforeValidator(_per_head),
                        Written("use of water a day (L/day; gal/day), or a word")] = None
    """What each uses a day: a quantity, or one of the words below, whose high figure is counted on.
    """
    rationing: list[Ration] = Field(default_factory=list)
    """Steps such as `{below: 40 %, draw: 75 %}`."""
    grey_water: Share = 0.0
    """Of a household: the share that comes back."""
    grey_water_to: str | None = None
    """The swale, basin, tree basin or hollow that it goes to on the same day (of a group the
    first)."""

    @model_validator(mode="after")
    def _one_amount(self) -> WaterUse:
        counted = self.heads is not None or self.per_head is not None
        if (self.amount is None) != counted:
            raise ValueError("a use has either an amount a day, or heads with what each uses "
                             "(per head)" + (", not both" if counted else ""))
        if counted and (self.heads is None or self.per_head is None):
            raise ValueError("heads and per head go together")
        if (self.grey_water > 0) != (self.grey_water_to is not None):
            raise ValueError("grey water is a share of the use and needs a work that it goes to "
                             "(grey water to)")
        if self.grey_water and self.kind != "household":
            raise ValueError(f"grey water comes from a household, and this is {self.kind}")
        shares = [step.below for step in self.rationing]
        if len(set(shares)) < len(shares):
            raise ValueError("two steps of the rationing begin at the same share of the tank")
        falling = sorted(self.rationing, key=lambda step: -step.below)
        if any(low.draw > high.draw for high, low in pairwise(falling)):
            raise ValueError("the rationing draws more from an emptier tank")
        return self


class TankerTopUp(Part):
    """Whole loads that a tanker brings when the tank runs low."""

    below: Annotated[tuple[float | None, float | None], BeforeValidator(_share_or_volume),
                     Written("share of the tank, or volume with its unit")]
    """On a morning on which the tank holds less, as many whole loads come as bring it back to that.
    """
    load: Volume
    """What one load is."""
    price: float | None = Field(default=None, ge=0)
    """Of one load.
    Left out: no money is told."""


class GutterSpec(Part):
    """Gutters and downspouts of some roofs, or of all that no other entry names."""

    roofs: list[str] | None = Field(default=None, min_length=1)
    """Names of the roofs it is of.
    Left out: all that no other entry names."""
    shape: Literal["half round", "box"] = "half round"
    """Half a round, half as deep as wide, or a box."""
    width: Length
    """At its brim."""
    depth: Length | None = None
    """Of a box."""
    fall: Annotated[float | None, Written(f"share, up to {STEEPEST_GUTTER:.0%}")] = None
    """Along it, such as `0.5 %`.
    Left out: the rule `gutter fall`."""
    count: int | None = Field(default=None, ge=1, le=100)
    """How many lengths share the roof.
    Left out: as many as downspouts."""
    downspouts: int = Field(default=1, ge=1, le=100)
    """How many."""
    diameter: Length
    """Of each downspout."""

    @model_validator(mode="before")
    @classmethod
    def _as_slope(cls, given: Any) -> Any:
        if isinstance(given, dict) and given.get("fall") is not None:
            given = {**given, "fall": read_share(given["fall"])}
        return given

    @model_validator(mode="after")
    def _sizes(self) -> GutterSpec:
        if max(self.width, self.diameter, self.depth or 0.0) > WIDEST_GUTTER:
            raise ValueError(f"a gutter or downspout of more than {WIDEST_GUTTER:g} m is none: "
                             "write its width such as 125 mm or 5 in")
        if self.depth is not None and self.shape == "half round":
            raise ValueError("a half-round gutter is half as deep as wide; a depth is that of a "
                             "box")
        if self.fall is not None and not 0 < self.fall <= STEEPEST_GUTTER:
            raise ValueError(f"a gutter's fall of {self.fall:.1%} is not between 0 and "
                             f"{STEEPEST_GUTTER:.0%}; write it such as 0.5 %")
        return self
