"""How the page looks: colours that hold in bright sun, type, the size of what is touched."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from bokeh.models import InlineStyleSheet

from terrain.outputs.drawing import symbols as sy

#: On the map: what is chosen, and what lies beneath lettering.
CHOSEN, HALO = "#c2410c", "#fffdf7"
INK, WATER, POOL, EARTH = "#161d1c", sy.WATER, "#5f9fbd", sy.EARTH
TREE, TANK, PIPE, SPILL = sy.TREE, sy.TANK, "#5b3a86", "#0b4f6c"
CATCHMENT = "#f2b632"
TINTS = sy.TINTS

#: Colours of the page, as names of its style sheets.
_NAMES = """
:host, :root { --ink:#161d1c; --soft:#3f4a48; --line:#b9b4a4; --paper:#fffdf7; --panel:#f3efe4;
  --water:#0b4f6c; --earth:#6b3f1a; --warn:#8a1c00; --chosen:#c2410c; --dry:#e4ddcb; }
"""
#: What is out of sight by its class costs no new layout of the page, which `visible` does.
_HIDDEN = ":host(.hidden) { display:none !important; }\n"
_WIDGETS = _NAMES + _HIDDEN + """
:host { font:16px/1.45 "Segoe UI",Roboto,"Helvetica Neue",Arial,sans-serif;
  color:var(--ink); }
.bk-btn { font:600 15px/1.2 inherit; min-height:44px; min-width:44px; padding:0 .8rem;
  color:var(--ink); background:var(--paper); border:1.5px solid var(--soft); border-radius:4px;
  text-shadow:none; box-shadow:none; }
.bk-btn:hover { background:var(--dry); }
.bk-btn.bk-active, .bk-btn-primary { background:var(--water); color:#fff;
  border-color:var(--water); }
.bk-btn:focus-visible, input:focus-visible, select:focus-visible, .noUi-handle:focus-visible {
  outline:3px solid var(--chosen); outline-offset:2px; }
.bk-btn[disabled] { color:#5c625c; background:var(--panel); border-style:dashed; opacity:1; }
.bk-btn-group { flex-wrap:wrap; gap:4px; }
.bk-btn-group > .bk-btn { border-radius:4px !important; margin:0 !important; }
.bk-input { font:16px/1.3 inherit; min-height:44px; color:var(--ink); background:#fff;
  border:1.5px solid var(--soft); border-radius:4px; }
.bk-slider-title, label { font-weight:600; color:var(--ink); }
.noUi-target { height:10px; background:var(--dry); border:1px solid var(--soft); }
.noUi-connect { background:var(--water); }
.noUi-handle { width:26px !important; height:26px !important; top:-9px !important;
  border:2px solid var(--water) !important; border-radius:50% !important; background:#fff; }
.noUi-touch-area { position:absolute; inset:-11px; width:auto; height:auto; }
"""
_WORDS = _NAMES + _HIDDEN + """
:host { font:16px/1.45 "Segoe UI",Roboto,"Helvetica Neue",Arial,sans-serif;
  color:var(--ink); overflow-wrap:anywhere; }
h2 { font-size:1.2rem; margin:.1rem 0 .1rem; } h3 { font-size:1rem; margin:.9rem 0 .2rem; }
p { margin:.25rem 0; } .small { color:var(--soft); font-size:.92rem; }
table { border-collapse:collapse; width:100%; font-variant-numeric:tabular-nums; }
td, th { padding:.16rem .3rem; text-align:right; border-bottom:1px solid var(--line);
  vertical-align:top; }
td:first-child, th:first-child { text-align:left; padding-left:0; }
thead th { color:var(--soft); font-weight:600; font-size:.9rem; }
tr.own td { font-weight:700; }
td:not(:first-child), th { overflow-wrap:normal; }
#storms td:first-child, #fates td:first-child { min-width:5rem; }
#figures tbody { display:grid; grid-template-columns:1fr 1fr; gap:0 1.1rem; }
#figures tr { display:flex; justify-content:space-between; gap:.4rem; align-items:baseline;
  border-bottom:1px solid var(--line); }
#figures td { border:0; } #figures td:first-child { color:var(--soft); white-space:nowrap; }
#figures td:last-child { font-weight:600; overflow-wrap:anywhere; }
#storms, #fates { font-size:.94rem; }
ul { margin:.2rem 0; padding-left:1.15rem; } li { margin:.2rem 0; }
.warn { color:var(--warn); } .warn li::marker { color:var(--warn); }
.bar { display:block; width:5.5rem; height:.8rem; background:var(--dry);
  border:1px solid var(--soft); } .bar i { display:block; height:100%; background:var(--water); }
.key { display:flex; flex-wrap:wrap; gap:.2rem .8rem; font-size:.92rem; }
.key i { display:inline-block; width:1.1rem; height:.85rem; border:1px solid var(--soft);
  margin-right:.3rem; vertical-align:-.1rem; }
a { color:var(--water); font-weight:600; }
details > summary { cursor:pointer; font-weight:600; min-height:32px; }
"""


def widgets() -> InlineStyleSheet:
    """Of buttons, sliders and fields."""
    return InlineStyleSheet(css=_WIDGETS)


def hide(model: Any, hidden: bool) -> None:
    """Put a part that has one of these style sheets out of sight, or back."""
    classes = ["hidden"] if hidden else []
    if model.css_classes != classes:
        model.css_classes = classes


def words() -> InlineStyleSheet:
    """Of text and tables."""
    return InlineStyleSheet(css=_WORDS)


def note() -> InlineStyleSheet:
    """Of a sentence that lies on the map."""
    return InlineStyleSheet(css=_WORDS + """
:host { background:var(--paper); border:1.5px solid var(--ink); border-radius:4px;
  padding:.15rem .7rem; box-sizing:border-box; }
""")


def read(name: str) -> str:
    """A part of the page that lies beside this module."""
    return (Path(__file__).parent / name).read_text(encoding="utf-8")
