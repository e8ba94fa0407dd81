"""The stakes as a table for spreadsheets: `setting_out.csv`."""

from __future__ import annotations

import csv
from pathlib import Path

from terrain.outputs.field.setting_out import Place, SettingOut, Staked
from terrain.outputs.field.words import staff_words
from terrain.outputs.plain_text import cell_text

#: Head of a column that says which feet they are.
FEET = "feet_tenths_and_hundredths_not_inches"


def write_stake_table(field: SettingOut, path: Path) -> None:
    """Write the stakes as CSV, levels and stations in m or ft as the site asks; places in the
    raster's CRS and in degrees."""
    unit = field.unit.suffix
    names = ["stake", "work", "mark", f"station_{unit}", "east", "north", "longitude", "latitude",
             f"ground_{unit}", f"design_{unit}", "design_of", f"cut_{unit}"]
    if field.benchmark is not None:
        names += [f"below_benchmark_{unit}", "set_up", f"staff_reading_{unit}",
                  "staff_reading_on_the_day"]
    names += [f"offset_{unit}", "offset_side", "offset_east", "offset_north", "offset_longitude",
              "offset_latitude", f"offset_ground_{unit}", f"offset_cut_{unit}"]
    if field.unit.key != "m":  # a line of words above the head would break what reads the table
        names.append(FEET)
    with open(path, "w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(names)
        writer.writerows(_row(field, staked) for staked in field.stakes)


def _row(field: SettingOut, staked: Staked) -> list[str]:
    stake, offset, of = staked.stake, staked.offset, field.unit.of
    source = field.plan.inputs.dem.frame.source
    places = 9 if source is not None and source.is_geographic else 3

    def where(at: Place) -> list[str]:
        return [f"{at.east:.{places}f}", f"{at.north:.{places}f}",
                *("" if v is None else f"{v:.9f}" for v in (at.longitude, at.latitude))]

    row = [str(staked.number), cell_text(stake.work), stake.mark, f"{of(stake.station):.2f}",
           *where(staked.at), f"{of(stake.ground):.3f}", f"{of(stake.design):.3f}",
           stake.design_of, f"{of(stake.cut):.3f}"]
    if field.benchmark is not None:
        row += [f"{of(field.benchmark.level - stake.design):.3f}", str(staked.set_up or ""),
                *(["", ""] if staked.reading is None else
                  [f"{of(staked.reading):.3f}", staff_words(field, staked)])]
    if offset is None or staked.offset_at is None:
        row += [""] * 8
    else:
        row += [f"{of(offset.distance):.2f}", offset.side, *where(staked.offset_at),
                f"{of(offset.ground):.3f}", f"{of(offset.cut):.3f}"]
    return row if field.unit.key == "m" else [*row, field.unit.words]
