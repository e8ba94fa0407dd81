"""What `rain --json` prints: one object in SI; keys end in their unit."""

from __future__ import annotations

from typing import Any

from terrain.plan.rain import RecordAnswer, TableAnswer


def rain_answer(answer: RecordAnswer | TableAnswer) -> dict[str, Any]:
    """A record's or a table's answer as plain data."""
    return _table(answer) if isinstance(answer, TableAnswer) else _record(answer)


def _table(answer: TableAnswer) -> dict[str, Any]:
    return {"file": answer.source, "kind": "table",
            "depths": [{"duration_h": hours, "return_period_years": years,
                        "depth_mm": answer.depths.loc[hours, years]}
                       for hours in answer.depths.index for years in answer.depths.columns],
            "notes": list(answer.notes)}


def _record(answer: RecordAnswer) -> dict[str, Any]:
    daily, curve = answer.record.depths, answer.extremes
    return {
        "file": answer.record.source, "kind": "record",
        "first_day": f"{daily.index[0]:%Y-%m-%d}", "last_day": f"{daily.index[-1]:%Y-%m-%d}",
        "days": len(daily), "missing_days": int(daily.isna().sum()),
        "start_month": answer.years.start_month, "mean_year_mm": answer.mean_year,
        "months": [{"month": month, "rain_mm": answer.months[month],
                    "wet_days": answer.wet_days[month]} for month in range(1, 13)],
        "years": [{"year": int(year), "rain_mm": answer.totals[year],
                   "greatest_day_mm": answer.maxima.depths[year]} for year in answer.years.whole],
        **{f"{name}_year_mm": answer.kinds.get(name) for name in ("dry", "median", "wet")},
        "how_often": [{"more_than_mm": one.depth, "days_a_year": one.days_a_year,
                       "storms_a_year": one.storms_a_year} for one in answer.often],
        "curve": None if curve is None else {
            "location_mm": curve.curve.location, "scale_mm": curve.curve.scale,
            "shape": curve.curve.shape, "confidence": curve.confidence},
        "levels": [] if answer.levels is None else [
            {"return_period_years": years, **row}
            for years, row in zip(answer.levels.index, answer.levels.to_dict("records"),
                                  strict=True)],
        "dry_spells": [{"first_day": f"{spell['first']:%Y-%m-%d}",
                        "last_day": f"{spell['last']:%Y-%m-%d}", "days": spell["days"],
                        "may_be_longer": spell["open"]}
                       for spell in answer.spells.to_dict("records")],
        "notes": list(answer.notes)}
