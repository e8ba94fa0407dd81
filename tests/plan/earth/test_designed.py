"""The designed ground of a whole plan: order, raster, overlaps, earth by two ways."""

from __future__ import annotations

import numpy as np
import pytest
from constructed import formula_dem, valley
from shapely import box

import terrain.plan.earth.designed as module
from terrain.plan.earth.designed import (
    Earth,
    _Changed,
    _shared,
    designed_dem,
    designed_raster,
    raster_grid,
)
from terrain.works.designed_ground import UNCHANGED, patch_of
from terrain.works.ground_of_pit import pit_of
from terrain.works.rules import Rulebook

GROUND = formula_dem(lambda x, y: 100 + 0.0 * x, 60, 60, 1.0)
ONE = pit_of(GROUND, box(10, 10, 30, 20), 100.0, 1.0, 0.0, "upper pit")
OTHER = pit_of(GROUND, box(25, 15, 40, 30), 100.0, 2.0, 0.0, "lower pit")


def test_the_raster_of_two_pits_digs_the_later_into_the_earlier():
    """200 m2 by 1 m and 225 m2 by 2 m, of which 25 m2 are shared: the deeper counts there."""
    grid, level, change, coarser = designed_raster(GROUND, [ONE, OTHER])
    assert not coarser
    assert (1.0 / grid.cell) == pytest.approx(round(1.0 / grid.cell))
    assert -np.nansum(change) * grid.cell**2 == pytest.approx(200 + 450 - 25, rel=1e-3)
    x, y = np.meshgrid(grid.x, grid.y)
    assert level[(x > 26) & (x < 29) & (y > 16) & (y < 19)] == pytest.approx(98.0)
    assert level[(x > 12) & (x < 24) & (y > 11) & (y < 19)] == pytest.approx(99.0)


def test_works_that_change_the_same_ground_are_told():
    patches = [patch_of(GROUND, shape) for shape in (ONE, OTHER)]
    changed = [_Changed(p.shape, p.grid, np.abs(p.change) > UNCHANGED) for p in patches]
    assert changed[1].shared(changed[0]) == pytest.approx(25, rel=0.02)
    found = _shared(changed)
    assert [shared.works for shared in found] == [(ONE.work, OTHER.work)]
    assert '"upper pit" and "lower pit" change the same 25' in found[0].said
    assert _shared(changed[:1]) == []


def test_a_raster_that_would_be_too_large_is_coarser_and_says_so(monkeypatch):
    fine, _ = raster_grid(GROUND, [ONE])
    monkeypatch.setattr(module, "MOST_CELLS", fine.rows * fine.columns // 5)
    grid, coarser = raster_grid(GROUND, [ONE])
    assert coarser
    assert grid.cell > fine.cell
    assert grid.rows * grid.columns <= module.MOST_CELLS


def test_away_from_works_the_raster_says_nothing_and_the_ground_stays():
    far = pit_of(GROUND, box(50, 50, 52, 52), 100.0, 1.0, 0.0, "far")
    grid, level, _, _ = designed_raster(GROUND, [ONE, far])
    x, y = np.meshgrid(grid.x, grid.y)
    assert np.isnan(level[(x > 40) & (x < 44) & (y > 25) & (y < 40)]).all()
    made = designed_dem(GROUND, [ONE, far], 0.5, GROUND.bounds)
    assert made.shape == (120, 120)
    assert made.heights[0, 0] == 100
    # What the pit holds is kept, though cells under its rim stand at its level.
    assert float((100 - made.heights[60:, :70]).sum()) * 0.25 == pytest.approx(200, rel=1e-3)


@pytest.mark.parametrize(("earth", "off"), [
    (Earth(10.0, 0.0, 10.9, 0.0), None), (Earth(10.0, 0.0, 11.1, 0.0), 0.11),
    (Earth(10.0, 5.0, 10.0, 4.4), -0.12), (Earth(10.0, 5.0, None, 5.1), None),
    (Earth(0.0, 0.0, 0.0, 0.0), None)])
def test_differences_beyond_the_rule_are_told(earth, off):
    """A tenth; common practice, no source."""
    assert earth.off(Rulebook()) == (None if off is None else pytest.approx(off))


def test_the_rule_may_be_overruled():
    assert Earth(10.0, 0.0, 10.9, 0.0).off(Rulebook({"earth by two ways": 0.05})) is not None


def test_every_dug_or_heaped_work_of_a_site_is_shaped(small_plan):
    designed = small_plan.designed
    assert designed is not None
    assert set(designed.earth) == {"east swale", "pond", "trees 1", "trees 2"}
    levels = [shape.level for shape in designed.shapes]
    assert levels == sorted(levels, reverse=True)
    for planned in small_plan.stores:
        found = designed.earth.get(planned.store.name)
        if planned.swale is not None:
            assert found.cut_sections == planned.swale.cut
            # On uneven ground: no more apart than is told (rule `earth by two ways`).
            assert found.off(Rulebook()) is None
    spillways = [shape.name for shape in designed.shapes if shape.part]
    assert spillways == ["pond, spillway"]


def plane_site(site, write_raster, slope, works):
    """The small site on a plane that rises to the north, with other works."""
    rows, columns = valley().shape
    rise = slope * (rows - np.arange(rows))[:, None] + np.zeros(columns)
    write_raster(site.parent / "ground.tif", (100 + rise).astype(np.float32))
    site.write_text(site.read_text().split("works:")[0] + "works:\n" + works)
    return site


def test_on_a_plane_both_ways_agree_to_a_few_thousandths(small_site, write_raster):
    from terrain.plan.plan import make_plan

    works = """\
  - {kind: swale, name: swale, through: [500060, 6399930], length: 40 m, depth: 0.3 m}
  - {kind: basin, name: pit, dug: [[500055, 6399880], [500065, 6399880], [500065, 6399890],
      [500055, 6399890]], depth: 1 m, batter: 2}
  - {kind: tree basin, name: bowl, at: [[500030, 6399900]], crown: 4 m}
"""
    plan = make_plan(plane_site(small_site, write_raster, 0.08, works))
    earth = plan.designed.earth
    assert len(earth) == 3
    for found in earth.values():
        assert found.cut_surface == pytest.approx(found.cut_sections, rel=5e-3)
        # The swale's berm is turned uphill at its ends, which its sections approximate.
        assert found.fill_surface == pytest.approx(found.fill_sections, rel=0.02, abs=1e-6)


def test_a_bowl_on_ground_as_steep_as_its_sides_is_refused(small_site, write_raster):
    from terrain.errors import InputError
    from terrain.plan.plan import make_plan

    works = "  - {kind: tree basin, name: bowl, at: [[500060, 6399915]], crown: 4 m}\n"
    with pytest.raises(InputError, match=r"rises 46%, too steep for sides of 2:1.*Move it to "
                       r"ground that rises less than 30%"):
        make_plan(plane_site(small_site, write_raster, 0.46, works))
