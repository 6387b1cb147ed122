"""Which cause is the one to repair first: a posterior over nothing, single causes and pairs.

Prior times tempered likelihood, normalised over all hypotheses. What a pair explains counts for both of its causes.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from tracekit.judge.effects import Effect
from tracekit.judge.evidence import USUAL, Circumstances, Sign, log_likelihood
from tracekit.judge.fingerprints import FINGERPRINTS
from tracekit.judge.priors import TWO_CAUSES, prior
from tracekit.options.judge import JudgeOptions

HYPOTHESES: tuple[str, ...] = tuple(code for code in FINGERPRINTS if code != "none")
_PAIRED = 6
_WITH_ANY = 2
_ALIKE: tuple[frozenset[str], ...] = (
    frozenset({"leak_steady", "check_valve_leak", "release_valve_leak"}),
    frozenset({"sensor_noisy", "supply_pulsation"}),
)
"""Causes that one recording shows as one: no pair is made of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Probability that nothing is wrong, that each cause is present, that it is the only one, that two are.

    usual  prior weight of each cause: present over it is what was measured, whatever else may be there
    """

    none: float
    present: Mapping[str, float]
    single: Mapping[str, float]
    both: Mapping[frozenset[str], float]
    usual: Mapping[str, float]

    def without(self, code: str, other: str) -> float:
        """Probability that `code` is present and `other` is not."""
        return max(self.present[code] - self.both.get(frozenset((code, other)), 0.0), 0.0)


def posterior(
    effects: Mapping[str, Effect],
    signs: tuple[Sign, ...],
    surroundings: tuple[str, ...],
    complaint: bool,
    options: JudgeOptions,
    circumstances: Circumstances = USUAL,
) -> Posterior:
    """Posterior over hypotheses given measured effects and signs."""
    logs: dict[tuple[str, ...], float] = {}
    weight = {code: prior(code, surroundings, complaint=True) for code in HYPOTHESES}
    total = sum(weight.values())
    faulty = 0.6 if complaint else 0.25
    nothing = 1.0 - faulty
    logs[("none",)] = np.log(nothing) + log_likelihood(("none",), effects, signs, options, circumstances)
    possible = [code for code in HYPOTHESES if code not in circumstances.absent]
    for code in possible:
        share = faulty * (1.0 - TWO_CAUSES) * weight[code] / total
        logs[(code,)] = np.log(share) + log_likelihood((code,), effects, signs, options, circumstances)
    best = sorted(possible, key=lambda code: -logs[(code,)])
    # a second cause may look poor alone where the first explains most of what is measured
    pairs = [*combinations(best[:_PAIRED], 2), *((a, b) for a in best[:_WITH_ANY] for b in best[_PAIRED:])]
    of_any = _weight_of_pairs(weight)
    for a, b in pairs:
        if _alike(a, b):
            continue
        share = faulty * TWO_CAUSES * weight[a] * weight[b] / of_any
        logs[(a, b)] = np.log(share) + log_likelihood((a, b), effects, signs, options, circumstances)
    top = max(logs.values())
    odds = {k: float(np.exp(v - top)) for k, v in logs.items()}
    norm = sum(odds.values())
    present = {code: sum(v for k, v in odds.items() if code in k) / norm for code in HYPOTHESES}
    single = {code: odds.get((code,), 0.0) / norm for code in HYPOTHESES}
    both = {frozenset(k): v / norm for k, v in odds.items() if len(k) > 1}
    return Posterior(none=odds[("none",)] / norm, present=present, single=single, both=both, usual=weight)


def _alike(a: str, b: str) -> bool:
    return any({a, b} <= alike for alike in _ALIKE)


def _weight_of_pairs(weight: Mapping[str, float]) -> float:
    """Sum of the products over all pairs that are made, so that together they have the prior of two causes."""
    return sum(weight[a] * weight[b] for a, b in combinations(weight, 2) if not _alike(a, b))


def rivals(post: Posterior, code: str, options: JudgeOptions) -> tuple[str, ...]:
    """Causes that cannot be told from `code` and are not beside it: about as probable, or not ruled out and as fitting.

    The latter are rarer, and so less probable, but nothing that was measured speaks against them: only a test can.
    """
    found = []
    for name, chance in post.present.items():
        if name == code or chance <= 0.0:
            continue
        instead, own = post.without(name, code), post.without(code, name)
        if instead < options.rival_instead * chance or own < options.rival_instead * post.present[code]:
            continue
        about = own / options.rival <= instead <= own * options.rival
        ratio = (instead / post.usual[name]) / max(own / post.usual[code], 1e-300)
        fits = ratio >= 1.0 / options.rival_evidence and options.rival_least <= instead <= own
        if about or fits:
            found.append((chance, name))
    return tuple(name for _, name in sorted(found, reverse=True))
