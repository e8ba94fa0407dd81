"""Rules of the trade on a site in US units: as their source states them in feet, else round.

A figure that `rules.py` gives in metres from a source in feet stands here as that source has it:
33 USC 467, the NRCS practice standards, USDA Agriculture Handbook 590, the Minnesota Stormwater
Manual, North Carolina State University, Fortier & Scobey, OSHA.  The others are the nearest that
the trade digs, sets out and measures in feet and inches; common practice, no source.
"""

from __future__ import annotations

US_FIGURES: dict[str, str] = {
    "swale depth": "1 ft", "swale width": "2 ft", "swale shallowest": "8 in",
    "swale deepest": "20 in", "swale length": "200 ft", "swale longest": "1000 ft",
    "swale narrowest": "1 ft", "swale widest": "5 ft", "berm top width": "2 ft",
    "berm freeboard": "6 in", "return end longest": "20 ft", "sill head": "3 in",
    "sill shortest": "13 ft", "sill longest": "130 ft", "basin freeboard": "1 ft",
    "spillway head": "6 in", "embankment water": "3 ft", "engineer water": "6 ft",
    "wall top width": "6 ft", "wall top width from 3 m": "8 ft",
    "wall top width from 4.6 m": "10 ft", "wall top width from 6.1 m": "12 ft",
    "topsoil depth": "6 in", "cut-off depth": "2 ft", "cut-off width": "4 ft",
    "pit from wall": "10 ft", "small drainage": "20 acre", "fish depth": "4 ft",
    "seepage high": "2 in/day", "drowning depth": "18 in", "building setback": "10 ft",
    "septic setback": "35 ft", "private well setback": "50 ft", "public well setback": "100 ft",
    "steep toe setback": "200 ft", "steep ground least": "1000 ft2",
    "rock or wet ground below": "3 ft", "unstable ground setback": "100 ft",
    "stream bank setback": "33 ft", "buried line clearance": "24 in", "breach reach": "33 ft",
    "federal dam height": "25 ft", "federal dam volume": "50 acre-ft",
    "federal dam height least": "6 ft", "federal dam volume least": "15 acre-ft",
    "state dam height": "6 ft", "state dam volume": "3 acre-ft",
    "tree bowl shallowest": "6 in", "tree bowl deepest": "12 in", "hollow rim": "2 in",
    "hollow noted": "250 gal", "crescent narrowest": "3 ft", "crescent widest": "13 ft",
    "crescent deepest": "1 ft", "crescent top width": "10 in", "trench width": "2 ft",
    "trench shallowest": "1 ft", "trench usual depth": "2 ft", "trench deepest": "5 ft",
    "tree clear of berm": "20 in", "tree clear of wall": "16 ft",
    "tree catchment largest": "11000 ft2", "tree root depth": "4 ft", "drain longest": "2000 ft",
    "drain width": "16 in", "drain widest": "6.5 ft", "drain water": "1 ft",
    "drain shallowest": "8 in", "drain bank top width": "1 ft", "drain freeboard": "0.3 ft",
    "erodible soil velocity": "1.75 ft/s", "resistant soil velocity": "2.5 ft/s",
    "stone velocity": "5 ft/s", "turn-out reach": "330 ft", "joined tanks level": "4 in",
    "pipe diameter": "4 in", "furrow width": "1 ft", "furrow depth": "6 in",
    "hand digging most": "20 yd3", "topsoil on banks": "4 in",
    "spoil thickness": "6 in", "haul longest": "500 ft", "stone thickness": "1 ft",
    "stone along the flow": "10 ft", "inspect after storm": "1 in", "mulch thickness": "4 in",
    "stake spacing": "30 ft", "bend stake spacing": "15 ft", "stake bend radius": "30 ft",
    "stake line aside": "10 in", "stake offset": "6 ft", "staff length": "13 ft",
    "staff to spare": "8 in", "staff foot to spare": "1 ft",
    "instrument height": "4.5 ft", "sight length": "200 ft",
    "level tolerance": "4 in", "sill off level": "0.2 in", "crest too low": "0.2 in",
    "crest too high": "0.1 ft", "bed off level": "0.1 ft", "surveyed off its line": "10 ft",
    "benchmark read again": "0.2 in", "digging radius": "10 ft", "station spacing": "10 ft",
    "check spacing": "40 ft", "swale without checks": "500 ft", "check below sill": "3 in",
    "check top width": "20 in", "low rain year": "20 in", "lidar doubt": "4 in",
    "drone doubt": "4 in", "survey doubt": "2 in", "elevation doubt reach": "100 ft",
    "spill moved": "80 ft",
}

#: What a rule that names a size is called in US units; a site file may use either name.
US_NAMES: dict[str, str] = {
    "wall top width from 3 m": "wall top width from 10 ft",
    "wall top width from 4.6 m": "wall top width from 15 ft",
    "wall top width from 6.1 m": "wall top width from 20 ft",
}
