"""Signals whose names do not settle a role, since another signal has it more likely."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.options.evidence import EVIDENCE
from tracekit.read.digitals import ROLES, Digital
from tracekit.read.roles import by_response
from tracekit.read.words import Role, tokens_of

_ALLOWS = frozenset(
    {
        "enable", "enabled", "request", "requested", "mode", "ready", "permission", "permit", "permissive", "lock",
        "locked", "interlock", "emergency", "estop", "freigabe", "anforderung", "modus", "betriebsart", "bereit",
        "verriegelung", "notaus", "nothalt", "autorisation", "demande", "pret", "urgence", "habilitado",
        "habilitacion", "solicitud", "modo", "listo", "emergencia", "abilitazione", "richiesta", "pronto", "emergenza",
        "zezwolenie", "gotowy", "tryb",
    }
)  # fmt: skip
"""Words of what allows, asks for or holds off an action, folded, and is not the action (common practice, no source)."""


def allows(digital: Digital) -> bool:
    """True for a signal that by its name allows or asks for something, and does not do it."""
    return not _ALLOWS.isdisjoint(tokens_of(digital.name))


def firmly_named(digitals: Sequence[Digital], kpa: NDArray[np.float64]) -> list[Digital]:
    """Signals without those that never change, or only allow something, where another one may have their role.

    kpa  gauge pressure of the first rows, shape (n,)
    Another one that moves may have it if its name says so too, or if the pressure answers it so.
    """
    doubtful = [d for d in digitals if d.weights and (not d.moves or allows(d))]
    if not doubtful:
        return list(digitals)
    moving = [d for d in digitals if d.moves and not allows(d)]
    free = [d for d in moving if max((d.weights.get(r, 0.0) for r in ROLES), default=0.0) < EVIDENCE.name_weight]
    shown: dict[Role, tuple[Digital, str]] = by_response(moving, kpa) if free else {}
    answered = {role for role, (digital, _) in shown.items() if any(digital is d for d in free)}
    return [d for d in digitals if not any(d is other for other in doubtful) or not _rivalled(d, moving, answered)]


def _rivalled(digital: Digital, moving: Sequence[Digital], answered: set[Role]) -> bool:
    """True where another signal may have the role that a name gives."""
    role = _role(digital)
    return role is not None and (role in answered or any(_role(d) == role for d in moving))


def _role(digital: Digital) -> Role | None:
    """The role that a name speaks for most, None where it speaks for none."""
    best: Role = max(ROLES, key=lambda role: digital.weights.get(role, 0.0))
    return best if digital.weights.get(best, 0.0) >= EVIDENCE.half_weight else None
