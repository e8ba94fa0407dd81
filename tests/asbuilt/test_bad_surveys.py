"""Slips in a survey: one sentence each, with the line and what to do."""

from __future__ import annotations

import pytest

from terrain.errors import InputError

GOOD = "east swale,sill,15,{level}\n"


@pytest.mark.parametrize(("text", "said"), [
    ("", "it has no rows under a line of column names"),
    ("work,mark,station_m,elevation_m\n", "it has no rows under a line of column names"),
    ("work,mark,station_m\neast swale,sill,15\n", "no column holds an elevation or a staff"),
    ("work,mark,elevation_m\neast swale,sill,195\n", "no column says where its points are"),
    ("easting,elevation_m\n500085,195\n", "a column of easting and none of northing"),
    ("work,mark,station_m,elevation_m\neast swale,sill,15,\n",
     r"line 2: it has neither an elevation nor a staff reading"),
    ("work,mark,station_m,elevation_m\neast swale,sill,15,1o5.2\n",
     r"line 2, column elevation_m: '1o5.2' is not a number"),
    ("work,mark,station_m,elevation\neast swale,sill,15,195.1 m\neast swale,sill,16,640.1 ft\n",
     r"line 3, column elevation: '640.1 ft' is not in m as the rest of its column"),
    ("work,mark,station_m,elevation_m,reading_m\neast swale,sill,15,195.1,1.2\n",
     "both an elevation and a staff reading"),
    ("work,mark,station_m,reading_m\neast swale,sill,15,1.2\neast swale,sill,16,1.2\n",
     "staff readings and none on a benchmark"),
    ("work,mark,station_m,reading_m\n,benchmark,,\neast swale,sill,16,1.2\n",
     "neither a reading nor a level"),
    ("work,mark,station_m,elevation_m\nwest swale,sill,15,195\n",
     r"column work: the plan has no work 'west swale'. The nearest is 'east swale'"),
    ("work,mark,station_m,elevation_m\nbarn tank,sill,15,195\n", "'barn tank' has nothing to"),
    ("work,mark,station_m,elevation_m\neast swale,wall,15,195\n",
     r"column mark: east swale has no mark 'wall'. Use one of bed, berm, end, line, sill"),
    ("work,mark,station_m,elevation_m\neast swale,bed,250,195\n", "beyond the end of the bed"),
    ("work,mark,easting,northing,elevation_m\neast swale,sill,500020,6399900,195\n",
     r"it lies .* from the nearest line of east swale with that mark, and 3.0 m .* is the most"),
    ("easting,northing,elevation_m\n500020,6399970,195\n", "from the nearest line of any work"),
    ("work,mark,easting,northing,elevation_m\neast swale,sill,6399940,500085,195\n",
     "Its easting and northing look exchanged"),
    ("work,mark,easting,northing,elevation_m\neast swale,sill,1640698,20997178,195\n",
     "It looks like ft, and the raster's coordinates are in metres"),
    ("work,mark,station_m,elevation_m\neast swale,sill,15,655.5\neast swale,sill,16,655.5\n",
     r"its level, 655.50 m .* above that of east swale, sill, .*The levels look like feet.*or peg"),
    ("work,mark,station_m,elevation_m\neast swale,sill,15,0.3\neast swale,sill,16,0.3\n",
     r"All lie about .* too low, as from another height datum or zero"),
    ("mark,work,station_m,reading_m,elevation_m\npeg,,,1.0,195\n,east swale,15,1.2,\n"
     "sill,east swale,16,1.2,\npeg,,,1.0,59.436\n",
     "One looks like metres and the other like feet: give both in the unit"),
    ("work,mark,elevation_m,station_m\neast swale,,195,15\n", "names no place"),
    ("stake,elevation_m\n9999,195\n", "there is no stake 9999"),
    ("stake,east,north,elevation_m\n1,500020,6399900,195\n",
     "stake 1 of the plan as it is stands .* from where the row has it. Use the setting-out table"),
    ("stake,elevation_m\nA7,195\n", "'A7' is not the number of a stake"),
    ("lon,lat,elevation_m\n500085,6399940,195\n", "is no longitude and latitude"),
    ("stake,design_m,staff_reading_m\n1,195,1.2\n", "no column says what was read"),
    ("elevation_m,level_m,stake\n195,195,1\n", "both look like the elevation"),
])
def test_one_sentence(surveys, text, said):
    path = surveys.folder / "bad.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=said) as error:
        held(surveys, path)
    sentence = str(error.value)
    assert "bad.csv" in sentence
    assert "\n" not in sentence
    assert sentence.endswith(".")


def held(surveys, path):
    from terrain.asbuilt.asbuilt import as_built

    return as_built(surveys.plan, path, surveys.stakes)


def test_one_point_tells_nothing(surveys):
    with pytest.raises(InputError, match="one level says nothing of a line"):
        surveys.found(surveys.rows("east swale", "bed", [0.0]))


def test_a_missing_file_and_a_folder(surveys):
    for path in (surveys.folder / "none.csv", surveys.folder):
        with pytest.raises(InputError):
            held(surveys, path)


def test_a_point_between_two_lines_belongs_to_neither(surveys):
    lip, bed = (surveys.line("east swale", name).shape.interpolate(5.0) for name in ("lip", "bed"))
    middle = (lip.x + bed.x) / 2, (lip.y + bed.y) / 2
    rows = [[f"{middle[0]:.3f}", f"{middle[1]:.3f}", "195.0"]]
    with pytest.raises(InputError, match=r"it may be of east swale, .* or of east swale"):
        surveys.found(rows, ("easting", "northing", "elevation_m"))


def test_two_levels_of_one_benchmark(surveys):
    text = ("work,mark,station_m,reading_m,elevation_m\n,benchmark,,1.2,100\n"
            ",benchmark,,1.3,100.2\neast swale,sill,15,1.2,\n")
    path = surveys.folder / "two.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=r"puts the benchmark at 100\.200 m"):
        held(surveys, path)


def test_unsurveyed_rows_of_the_setting_out_table_are_counted(surveys):
    rows = [[i, s.work, s.mark, f"{s.design:.3f}", f"{s.design:.3f}" if s.mark == "bed" else ""]
            for i, s in enumerate(surveys.stakes, 1) if s.work == "east swale"]
    found = surveys.found(rows, ("stake", "work", "mark", "design_m", "elevation_m"))
    [line] = found.works[0].lines
    assert line.line.name == "bed"
    assert any("have no level; they count as not surveyed" in note for note in found.notes)


def test_semicolons_and_decimal_commas(surveys):
    line = surveys.line("east swale", "bed")
    level = f"{float(line.levels[0]) + 0.01:.3f}".replace(".", ",")
    path = surveys.folder / "comma.csv"
    path.write_text("work;mark;station_m;elevation_m\n" + "".join(
        f"east swale;bed;{at};{level}\n" for at in ("0", "10,0", "20", "29,5")))
    [found] = held(surveys, path).works[0].lines
    assert [round(p.difference, 3) for p in found.points] == [0.01] * 4
