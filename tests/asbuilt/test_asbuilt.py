"""A survey of the small site from its file to its storage, spill and cautions."""

from __future__ import annotations

import random

import numpy as np
import pytest
from works_of_every_kind import write_site

from terrain.asbuilt.asbuilt import as_built
from terrain.outputs.asbuilt.asbuilt_json import asbuilt_object

SWALE = "east swale"
HEAD = ["stake", "work", "mark", "easting", "northing", "elevation_m"]


def stake_rows(plan, stakes):
    frame = plan.inputs.dem.frame
    for number, stake in enumerate(stakes, 1):
        x, y = (float(v) for v in frame.to_source(stake.x, stake.y))
        yield [number, stake.work, stake.mark, f"{x:.3f}", f"{y:.3f}", f"{stake.design:.3f}"]


def same_as_designed(found):
    assert found.works
    for work in found.works:
        assert work.within, work.name
        assert not work.mends
        if work.spill is not None:
            assert work.held == pytest.approx(work.held_designed, rel=0.01)
            assert work.spill.line.role == "sill"
            # to within what three decimals keep of a level
            assert work.spill.level == pytest.approx(work.planned.store.sill.level, abs=6e-4)
            assert work.store.sill.length == pytest.approx(work.planned.store.sill.length, rel=0.01)
            for storm in work.storms:
                assert storm.built.caught == pytest.approx(storm.designed.caught, rel=0.01)


def test_the_stakes_fed_back_are_within_tolerance_and_hold_the_same(surveys):
    found = surveys.found(stake_rows(surveys.plan, surveys.stakes), HEAD)
    same_as_designed(found)
    assert {work.name for work in found.works} == {SWALE, "pond", "trees 1", "trees 2"}
    assert not found.cautions


@pytest.mark.slow
def test_stakes_of_every_kind_fed_back(tmp_path):
    from terrain.outputs.field.stakes import stakes_of
    from terrain.plan.plan import make_plan

    plan = make_plan(write_site(tmp_path))
    stakes = stakes_of(plan)
    path = tmp_path / "points.csv"
    path.write_text("\n".join(",".join(map(str, row)) for row in
                              [HEAD, *stake_rows(plan, stakes)]))
    found = as_built(plan, path, stakes)
    same_as_designed(found)
    assert {work.planned.store.kind for work in found.works} == {
        "swale", "basin", "tree basin", "drain"}


def test_stake_numbers_and_staff_readings_alone(surveys):
    """A level and the setting-out table are enough: 1.4 m over a benchmark at 196 m."""
    sight = 196.0 + 1.4
    rows = [["benchmark", "1.400", "196.000"]]
    rows += [[number, f"{sight - stake.design:.3f}", ""]
             for number, stake in enumerate(surveys.stakes, 1) if stake.work == SWALE]
    found = surveys.found(rows, ["stake", "reading_m", "elevation_m"])
    [work] = found.works
    assert work.within
    assert work.held == pytest.approx(work.held_designed, rel=0.01)


def test_points_without_names_go_to_the_line_that_they_are_on(surveys):
    rows = [[row[3], row[4], row[5]] for row in stake_rows(surveys.plan, surveys.stakes)
            if row[1] == SWALE]
    [work] = surveys.found(rows, ["easting", "northing", "elevation_m"]).works
    assert work.name == SWALE
    assert {line.line.name for line in work.lines} == {"sill", "lip", "bed", "berm"}
    assert work.within


def test_longitude_and_latitude(surveys):
    frame = surveys.plan.inputs.dem.frame
    rows = []
    for stake in surveys.stakes:
        if stake.work == SWALE and stake.mark == "bed":
            lon, lat = frame.to_lonlat(stake.x, stake.y)
            rows.append([SWALE, "bed", f"{float(lon):.8f}", f"{float(lat):.8f}",
                         f"{stake.design:.3f}"])
    [work] = surveys.found(rows, ["work", "mark", "lon", "lat", "elevation_m"]).works
    assert max(point.off for point in work.lines[0].points) < 0.01


def test_a_low_sill_costs_the_prism_above_it(surveys):
    """Area times length: (b + z d) d L at d less 50 mm (Chow 1959, Table 2-1)."""
    [work] = surveys.found(surveys.rows(SWALE, "sill", [-0.05] * 4)).works
    swale = work.planned.swale
    d = swale.depth - 0.05
    volume = (swale.width + swale.side_slope * d) * d * swale.route.length
    assert work.held == pytest.approx(volume, rel=1e-4)
    assert work.spill.level == pytest.approx(swale.sill.level - 0.05, abs=1e-5)
    [mend] = work.mends
    assert (mend.action, mend.needed) == ("fill", True)
    assert mend.stretch.length == pytest.approx(swale.sill.length, abs=1e-3)
    assert all(storm.built.caught <= storm.designed.caught + 1e-9 for storm in work.storms)


def test_a_berm_with_a_low_place_spills_there_and_must_not_be_filled(surveys):
    swale = next(p for p in surveys.plan.stores if p.store.name == SWALE).swale
    low = swale.berm_height_built + 0.03
    errors = [0.0, 0.0, -low, 0.0, 0.0, 0.0]
    rows = [*surveys.rows(SWALE, "sill", [0.0] * 4),
            *(row for row, s in zip(surveys.rows(SWALE, "berm", errors), range(6), strict=True))]
    [work] = surveys.found(rows).works
    assert work.spill.line.name == "berm"
    assert work.spill.level == pytest.approx(swale.sill.level - 0.03, abs=1e-4)
    assert work.spill.station == pytest.approx(surveys.line(SWALE, "berm").shape.length * 2 / 5,
                                               abs=0.01)
    assert any("Do not fill it before that place is raised" in said for said in work.cautions)
    assert any("no freeboard is left" in said for said in work.cautions)


def test_every_storm_that_runs_over_the_bank_is_told(surveys):
    """The crest 20 mm over the sill: each storm that spills deeper than that runs over it."""
    swale = next(p for p in surveys.plan.stores if p.store.name == SWALE).swale
    rows = surveys.rows(SWALE, "berm", [0.02 - swale.berm_height_built] * 5)
    [work] = surveys.found(rows).works
    over = [storm for storm in work.storms
            if storm.freeboard_settled is not None and storm.freeboard_settled < -0.001]
    [said] = [said for said in work.cautions if said.startswith("Water would run over")]
    assert over
    for storm in work.storms:
        assert (f'in "{storm.name}" by' in said) == (storm in over)
    assert f"by {-over[-1].freeboard:.2f} m" in said or over[-1].freeboard > -0.001
    [sound] = surveys.found(surveys.rows(SWALE, "berm", [0.0] * 5)).works
    assert not any("run over its lowest crest" in said for said in sound.cautions)


def test_a_wall_below_its_height_is_the_engineers(surveys):
    line = surveys.line("pond", "wall")
    rows = surveys.rows("pond", "wall", [0.0, -0.35, -0.35, 0.0])
    [work] = surveys.found(rows).works
    assert line.name == "wall"
    assert any("stands below its height" in said and "engineer" in said for said in work.cautions)
    design = work.storms[-1]
    assert design.freeboard_settled < design.freeboard_designed - 0.3


def test_settled_banks_are_held_against_settled_levels(surveys):
    rows = surveys.rows(SWALE, "berm", [0.0] * 5, settled=True)
    [fresh] = surveys.found(rows).works
    [settled] = surveys.found(rows, settled=True).works
    assert not fresh.within
    assert settled.within
    last = settled.storms[-1]
    assert last.freeboard_settled == last.freeboard


def test_the_order_of_points_does_not_matter(surveys):
    rows = [*surveys.rows(SWALE, "sill", [0.0, 0.012, 0.004, -0.002]),
            *surveys.rows(SWALE, "bed", [0.01, 0.05, -0.02, 0.0, 0.03]),
            *surveys.rows(SWALE, "berm", [0.0, -0.05, 0.01, 0.02])]
    told = []
    for seed in (None, 1, 2):
        mixed = list(rows)
        if seed is not None:
            random.Random(seed).shuffle(mixed)
        answer = asbuilt_object(surveys.found(mixed))
        del answer["inputs_sha256"]
        for work in answer["works"]:
            for line in work["lines"]:
                for point in line["points"]:
                    del point["row"]
        told.append(answer)
    assert told[0] == told[1] == told[2]


def test_levels_all_off_by_one_amount_ask_for_the_benchmark(surveys):
    """A unit, a datum or a benchmark mistaken shows as one difference everywhere."""
    rows = [*surveys.rows(SWALE, "sill", [0.12] * 4), *surveys.rows(SWALE, "bed", [0.125] * 4),
            *surveys.rows(SWALE, "berm", [0.118] * 4)]
    [said] = surveys.found(rows).cautions
    assert "check the benchmark's level" in said


def test_a_shift_no_larger_than_a_sills_tolerance_twice_is_named_too(surveys):
    """12 mm alike on every line would have every sill shaved; it is one error of the survey."""
    rows = [row for name in ("sill", "bed", "berm")
            for row in surveys.rows(SWALE, name, [0.012] * 4)]
    [said] = surveys.found(rows).cautions
    assert "0.012 m" in said
    assert "12 of 12 are within" in said
    assert not surveys.found([row for name in ("sill", "bed", "berm") for row in
                              surveys.rows(SWALE, name, [0.004] * 4)]).cautions


def test_a_work_shifted_as_a_whole_beside_one_that_is_not(surveys):
    """A set-up that was read wrong shifts the works read from it, and no other."""
    rows = [*surveys.rows(SWALE, "sill", [0.1] * 4), *surveys.rows(SWALE, "bed", [0.1] * 4),
            *surveys.rows("pond", "wall", [0.0] * 8), *surveys.rows("pond", "sill", [0.0] * 4)]
    [said] = surveys.found(rows).cautions
    assert f"Most points of {SWALE} lie about 0.100 m" in said
    assert "check the set-up" in said


def test_two_levels_of_one_place_are_told(surveys):
    rows = [*surveys.rows(SWALE, "sill", [0.0] * 4), *surveys.rows(SWALE, "sill", [0.05] * 4)]
    [work] = surveys.found(rows).works
    assert any("two points at one place differ by 0.050 m" in said for said in work.cautions)
    [work] = surveys.found(surveys.rows(SWALE, "sill", [0.0] * 4) * 2).works
    assert not any("one place" in said for said in work.cautions)


def test_dug_as_designed_is_no_common_error(surveys):
    rows = [*surveys.rows(SWALE, "sill", [0.0] * 4), *surveys.rows(SWALE, "bed", [0.125] * 4),
            *surveys.rows(SWALE, "berm", [0.02, -0.02, 0.0, 0.01])]
    assert not surveys.found(rows).cautions


def test_a_survey_of_the_sill_alone_says_what_counts_as_designed(surveys):
    [work] = surveys.found(surveys.rows(SWALE, "sill", [0.0] * 4)).works
    assert any("Nobody surveyed its berm" in said for said in work.cautions)


def test_storms_run_through_works_below_too(surveys):
    """What a low sill lets go reaches the store that it spills to, if there is one."""
    found = surveys.found(surveys.rows(SWALE, "sill", [-0.15] * 4))
    for storm in found.works[0].storms:
        account = storm.built
        assert account.inflow == pytest.approx(
            account.infiltrated + account.held + account.spilled, rel=1e-9)
    assert np.isfinite(found.works[0].held)
