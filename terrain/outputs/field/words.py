"""What a stake says of itself."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

from terrain.outputs.field.setting_out import SettingOut, Staked

#: Characters that XML 1.0 does not allow, not even escaped (W3C, section 2.2).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def for_xml(text: str) -> str:
    """Text without the characters that XML cannot hold."""
    return _NOT_XML.sub("", text)


def name_of(staked: Staked) -> str:
    """A stake's number, work and mark."""
    return f"{staked.number} {staked.stake.work}, {staked.stake.mark}"


def levels_of(field: SettingOut, staked: Staked) -> str:
    """A stake's levels in words, in the tables' unit."""
    stake, unit = staked.stake, field.unit
    sign = unit.sign
    said = [f"{stake.design_of} at {unit.of(stake.design):.3f} {sign}",
            f"ground {unit.of(stake.ground):.2f} {sign}", cut_words(field, stake.cut)]
    if staked.reading is not None:
        said.append(f"staff {unit.of(staked.reading):.3f} {sign} planned from set-up "
                    f"{staked.set_up}, on the day {staff_words(field, staked)}")
    if staked.offset is not None:
        said.append(f"offset {unit.of(staked.offset.distance):.1f} {sign} {staked.offset.side}, "
                    f"from its ground {cut_words(field, staked.offset.cut)}")
    return "; ".join(said)


def staff_words(field: SettingOut, staked: Staked) -> str:
    """What the staff must read on the day: a benchmark's level is known beforehand, a peg's not."""
    if field.by_peg(staked.set_up):
        return "line of sight as found less design level"
    return "planned plus what the benchmark reads more than planned"


def cut_words(field: SettingOut, cut: float) -> str:
    """How deep to dig or how high to fill."""
    return (f"{'cut' if cut >= 0 else 'fill'} {abs(field.unit.of(cut)):.2f} {field.unit.sign}")


def add_text(parent: ET.Element, tag: str, text: str) -> None:
    """Add an element that holds text; see `for_xml`."""
    ET.SubElement(parent, tag).text = for_xml(text)
