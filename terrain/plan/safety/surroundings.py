"""All that a work earns by what lies about it: what is near, what is below, where water may go."""

from __future__ import annotations

from collections.abc import Sequence

from terrain.plan.earth.bodies import body_of
from terrain.plan.earth.built import Built
from terrain.plan.safety.clearances import (
    SteepGround,
    clearance_cautions,
    led_line_cautions,
    rock_caution,
    steep_caution,
    water_way_cautions,
)
from terrain.plan.safety.overtopping import Breach, breach_cautions, breach_of
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Node


def surroundings(inputs: Inputs, made: Built, node: Node, placed: Sequence[Placed],
                 steep: SteepGround) -> tuple[list[str], Breach | None]:
    """Cautions about what lies near a work, below it and down its water's ways.

    Parameters
    ----------
    placed : sequence of Placed
        All works of the site.
    steep : SteepGround
        Of the site.

    Returns
    -------
    cautions : list of str
    breach : Breach or None
        What happens where its bank fails; None without a bank.
    """
    rules, dem, place = inputs.rules, inputs.dem, made.placed
    body = body_of(made, dem, rules)
    said: list[str] = []
    if body is not None:
        said += clearance_cautions(inputs, made, body)
        if place.hollow is None:
            said += rock_caution(made, body, dem, rules)
            said += steep_caution(inputs, body, steep)
    said += led_line_cautions(inputs, node)
    if place.kind != "tank":
        said += water_way_cautions(inputs, node)
    breach = breach_of(inputs, made, placed)
    said += breach_cautions(breach, dem, rules)
    return said, breach
