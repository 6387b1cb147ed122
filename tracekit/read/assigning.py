"""Which digital signal has which role: by the station file, else by name, else by the response of the pressure."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.station import Channel
from tracekit.model.trace import Assumption
from tracekit.options.evidence import EVIDENCE
from tracekit.read.asks import ask_coils
from tracekit.read.columns import Column
from tracekit.read.digitals import ROLES, Digital, LevelPlan, asks, by_name
from tracekit.read.firmnames import allows, firmly_named
from tracekit.read.head import Question, joined
from tracekit.read.plan import StationPlan
from tracekit.read.pressure import PressurePlan
from tracekit.read.roles import by_response, likelier_valves, may_be_supply
from tracekit.read.words import Role, tokens_of

_REPORTS = frozenset({"fb", "fbk", "feedback", "ack", "rm", "rückmeldung", "rueckmeldung", "ret", "status", "state"})
"""Words behind the name of a valve that say that it is reported, not commanded (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Channels of one station, what was assumed, what is open."""

    station: StationPlan | None
    assumptions: tuple[Assumption, ...] = ()
    questions: tuple[Question, ...] = ()


def with_digitals(
    name: str,
    column: Column,
    pressure: PressurePlan,
    digitals: Sequence[Digital],
    channels: Mapping[str, Channel],
) -> Found:
    """Give each digital its role: by the station file, else by name, else by the response of the pressure."""
    roles: dict[str, LevelPlan] = {}
    facts: list[Assumption] = list(pressure.assumptions)
    free = list(digitals)
    barred = {r for r, c in channels.items() if r == "release" and (c.absent or c.internal)}
    for role in ROLES:
        given = channels.get(role)
        chosen = next((d for d in free if given is not None and given.column == d.name), None)
        if chosen is not None:
            free.remove(chosen)
            _take(roles, facts, role, chosen, "station file", 1.0)
            barred.add(role)
    off_coil = next((d for d in free if "supply" in channels and d.name == channels["supply"].off_column), None)
    free = [d for d in free if d is not off_coil]
    kpa = pressure.kpa(column.values)
    named = by_name(firmly_named(free, kpa))
    for named_role, digital in named.items():
        if named_role not in barred:
            free.remove(digital)
            _take(roles, facts, named_role, digital, "name", 0.97)
    exchanged = [] if barred else _ask_exchanged(digitals, roles, kpa)
    open_roles = [r for r in ROLES if r not in roles and r not in barred]
    if open_roles:
        vague = [d for d in free if d.moves and not _is_other(d)]
        for shown_role, (digital, why) in _by_response(vague, kpa, open_roles).items():
            if shown_role in open_roles and digital in free:
                free.remove(digital)
                _take(roles, facts, shown_role, digital, why, 0.9)
    unknown = [d for d in free if d.moves and not _is_other(d) and not d.weights.get("quality")]
    asked = [d for d in unknown if asks(d)]
    still = [r for r in open_roles if r not in roles]
    questions = [
        *_ask_roles(asked, still, likelier_valves(asked, kpa, still)),
        *exchanged,
        *_ask_contradicted(free, digitals, roles, named, kpa),
        *_ask_part(digitals, roles, named, kpa),
        *_ask_levels(digitals, roles),
        *ask_coils(digitals, channels),
    ]
    if unknown and not questions:
        facts.append(_left_aside(unknown, roles))
    plan = StationPlan(name=name, pressure=pressure, digitals=roles, off_coil=off_coil.plan if off_coil else None)
    return Found(station=plan, assumptions=tuple(facts), questions=tuple(questions))


def _by_response(
    digitals: Sequence[Digital], kpa: NDArray[np.float64], open_roles: Sequence[Role]
) -> Mapping[Role, tuple[Digital, str]]:
    """Roles by response; where no supply is known a release that may be the supply is left to be asked about."""
    shown = by_response(digitals, kpa)
    if "supply" not in open_roles or "supply" in shown or "release" not in shown:
        return shown
    doubtful = may_be_supply(shown["release"][0], kpa)
    return {role: found for role, found in shown.items() if role != "release"} if doubtful else shown


def _left_aside(unknown: Sequence[Digital], roles: Mapping[str, LevelPlan]) -> Assumption:
    read = {plan.column for plan in roles.values()}
    text = joined(dict.fromkeys(d.name if d.plan.column in read else d.plan.column for d in unknown))
    return Assumption(what="left aside", value=text, evidence="all roles are filled", confidence=0.8)


def _is_other(digital: Digital) -> bool:
    """True for a signal that by its name is none of a station: a limit, a speed; no switch of the part called "SP1"."""
    named = max(digital.weights.get(role, 0.0) for role in ROLES) >= EVIDENCE.name_weight
    return bool(digital.weights.get("other")) and not named


def _take(
    roles: dict[str, LevelPlan], facts: list[Assumption], role: str, digital: Digital, why: str, confidence: float
) -> None:
    roles[role] = digital.plan
    text = digital.name
    if digital.plan.kind == "threshold":
        text += f", 1 above {digital.plan.threshold:g}"
    if digital.plan.changes:
        text += ", written on change: empty cells hold the level before"
    if digital.plan.kind == "filled":
        text += ", empty cells read as 0"
    if digital.plan.kind == "word" and digital.plan.words:
        text += f', "{digital.plan.words[0]}" read as 0 and "{digital.plan.words[1]}" as 1'
    facts.append(Assumption(what=role, value=text, evidence=why, confidence=confidence))


def _ask_exchanged(
    digitals: Sequence[Digital], roles: Mapping[str, LevelPlan], kpa: NDArray[np.float64]
) -> list[Question]:
    """Ask where vacuum begins at the edges of the signal named blow-off and ends at those of the one named suction."""
    named = {r: next((d for d in digitals if d.plan is roles.get(r)), None) for r in ("supply", "release")}
    supply, release = named["supply"], named["release"]
    if supply is None or release is None:
        return []
    drawn_kpa = np.minimum(kpa, 0.0)  # the way back from over-pressure to ambient is no vacuum that begins
    shown = {role: digital for role, (digital, _) in by_response((supply, release), drawn_kpa).items()}
    if shown.get("supply") is not release or shown.get("release") is not supply:
        return []
    found = (
        f'the pressure contradicts two names: vacuum begins after the edges of "{release.name}" and ends after those '
        f'of "{supply.name}"'
    )
    line = f'supply = "{release.name}"   # as the pressure shows; or supply = "{supply.name}" where the names are right'
    return [Question(found=found, line=line)]


def _ask_contradicted(
    free: Sequence[Digital],
    digitals: Sequence[Digital],
    roles: Mapping[str, LevelPlan],
    named: Mapping[Role, Digital],
    kpa: NDArray[np.float64],
) -> list[Question]:
    """Ask where the pressure answers a signal without a role, and not the one that is named like a valve.

    free  signals without a role, among all `digitals`
    """
    rivals = [d for d in free if d.moves and not _is_other(d)]
    valves: list[Role] = [r for r in ("supply", "release") if r in named and roles.get(r) is named[r].plan]
    if not rivals or not valves:
        return []
    shown = by_response([d for d in digitals if d.moves and not _is_other(d)], kpa)
    questions = []
    for role in valves:
        other, chosen = shown[role][0] if role in shown else named[role], named[role]
        if any(other is d for d in rivals):
            found = f'the pressure answers "{other.name}" as it does {role}, and "{chosen.name}" it does not'
            line = f'{role} = {{ column = "{other.name}" }}   # or {role} = {{ column = "{chosen.name}" }}'
            questions.append(Question(found=found, line=line))
    return questions


def _ask_part(
    digitals: Sequence[Digital],
    roles: Mapping[str, LevelPlan],
    named: Mapping[Role, Digital],
    kpa: NDArray[np.float64],
) -> list[Question]:
    """Ask where a signal that is named like a part follows the vacuum, and the one that is named more so does not."""
    chosen = named.get("part_present")
    rivals = [
        d
        for d in digitals
        if d is not chosen and d.moves and d.weights.get("part_present", 0.0) >= EVIDENCE.half_weight
    ]
    if chosen is None or not rivals or roles.get("part_present") is not chosen.plan:
        return []
    shown = by_response((chosen, *rivals), kpa).get("part_present")
    if shown is None or shown[0] is chosen:
        return []
    found = f'"{shown[0].name}" follows the vacuum, as a part that is held does, and "{chosen.name}" does not'
    line = f'part_present = {{ column = "{shown[0].name}" }}   # or part_present = {{ column = "{chosen.name}" }}'
    return [Question(found=found, line=line)]


def _ask_levels(digitals: Sequence[Digital], roles: Mapping[str, LevelPlan]) -> list[Question]:
    """Ask where a signal has a role and no level of it can be read."""
    dark = [(r, d) for r, plan in roles.items() for d in digitals if d.plan is plan and not (d.levels >= 0).any()]
    return [
        Question(found=f'"{d.name}" holds no level that can be read', line=f'{role} = {{ column = "..." }}')
        for role, d in dark
    ]


def _ask_roles(
    unknown: Sequence[Digital], open_roles: Sequence[str], likelier: Mapping[Role, Digital]
) -> list[Question]:
    """Ask where signals move whose role is open, and a role that they may have is not filled.

    likelier  which of them supply and release rather are by what the pressure does
    """
    if not unknown or not open_roles:
        return []
    ordered = sorted(unknown, key=lambda d: (allows(d), _reports(d)))
    likely = {role: [d for d in ordered if not _named_otherwise(d, role)] or ordered for role in open_roles}
    alike = all(len(own) == len(unknown) for own in likely.values())
    questions = []
    if len(unknown) == 1 and len(open_roles) > 1:  # it has one of these roles at most
        name = unknown[0].name
        first, *rest = sorted(open_roles, key=lambda role: role not in likelier)
        line = f'{first} = {{ column = "{name}" }}'
        others = "".join(f'; or {role} = {{ column = "{name}" }}' for role in rest)
        found = f'"{name}" switches, but whether it is {" or ".join(open_roles)} does not show'
        return [Question(found=found, line=f"{line}   # {others[2:]}")]
    for place, (role, own) in enumerate(likely.items()):
        which = " or ".join(open_roles if alike else [role])
        alone = f'"{own[0].name}" switches, but whether it is {which} does not show'
        found = alone if len(own) == 1 else f"{joined(d.name for d in own)} switch, but which is {which} does not show"
        shown = next((d for r, d in likelier.items() if r == role and any(d is one for one in own)), None)
        chosen = own[min(place, len(own) - 1) if alike else 0] if shown is None else shown
        questions.append(Question(found=found, line=f'{role} = {{ column = "{chosen.name}" }}'))
    return questions


def _named_otherwise(digital: Digital, role: str) -> bool:
    """True for a signal whose name says another role than this one."""
    weights: dict[str, float] = {r: digital.weights.get(r, 0.0) for r in ROLES}
    own = weights.pop(role, 0.0)
    return any(weight >= EVIDENCE.name_weight > own for weight in weights.values())


def _reports(digital: Digital) -> bool:
    """True for a signal that reports what a valve did; its command comes before it."""
    return not _REPORTS.isdisjoint(tokens_of(digital.name))
