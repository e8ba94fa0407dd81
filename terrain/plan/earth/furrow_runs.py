"""How the design peak runs in the furrow that leads a store's spill."""

from __future__ import annotations

from terrain.plan.earth.built import soil_of
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.works.furrow import Furrow
from terrain.works.furrow_flow import FurrowFlow, furrow_flow
from terrain.works.lining import ERODIBLE
from terrain.works.store import Store


def flow_in_furrow(inputs: Inputs, place: Placed, store: Store, made: Furrow) -> FurrowFlow:
    """How the design peak that spills from a store, full when the storm comes, runs in its
    furrow."""
    return furrow_flow(made, store.sill.peak, ERODIBLE[soil_of(inputs, place)], inputs.rules)
