"""How cells are written in which the readings of all channels stand among levels and words, a row per reading."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from tracekit.options.evidence import EVIDENCE
from tracekit.read.cells import NUMBER
from tracekit.read.columns import Profile, number_form
from tracekit.read.longfind import MOST_TAGS
from tracekit.read.words import hints


def mixed_profiles(
    profiles: Sequence[Profile], names: Sequence[str], rows: Sequence[Sequence[str]]
) -> list[Profile]:
    """The profiles of columns; where a row holds one reading, numbers and words may stand in one column.

    The decimal sign is then that of the channel that shows most of them: levels and counts have none, and beside
    those a decimal comma looks like one that parts thousands.
    """
    tag = _tag_place(profiles, names, rows)
    if tag < 0:
        return list(profiles)
    channels: dict[str, list[Sequence[str]]] = {}
    for row in rows:
        channels.setdefault(row[tag].strip(), []).append(row)
    return [p if k == tag else _mixed(p, k, channels) for k, p in enumerate(profiles)]


def _tag_place(profiles: Sequence[Profile], names: Sequence[str], rows: Sequence[Sequence[str]]) -> int:
    """The place of the column of channels, -1 where there is none."""
    known = [hints(name) for name in names]
    valued = any(h.weight("value") >= EVIDENCE.name_weight for h in known)
    for place, profile in enumerate(profiles):
        if profile.kind == "text":
            words = {row[place].strip() for row in rows}
            called = known[place].weight("tag") >= EVIDENCE.name_weight > known[place].weight("value")
            if len(words) <= MOST_TAGS and (
                (called and valued) or any(h.weight("pressure") or h.pressure_unit for h in map(hints, words))
            ):
                return place
    return -1


def _mixed(profile: Profile, place: int, channels: Mapping[str, Sequence[Sequence[str]]]) -> Profile:
    """The profile of a column with the form of the numbers of the channel that shows most decimal signs."""
    form = profile.form
    if profile.kind in ("number", "text") and form.base == 10 and not form.suffix:
        cells = [[c for row in rows if NUMBER.fullmatch(c := row[place].strip())] for rows in channels.values()]
        marked = max(cells, key=lambda own: sum("." in c or "," in c for c in own), default=[])
        form = number_form(marked) if marked else form
    return replace(profile, form=form, mixed=profile.kind == "number")
