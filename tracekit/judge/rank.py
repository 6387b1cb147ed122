"""Which cause is the one to repair first: a posterior over nothing, single causes, pairs and three at once.

Prior times tempered likelihood, normalised over all hypotheses. What a set explains counts for each of its causes.
"""

from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from itertools import combinations

import numpy as np

from tracekit.frozen import dataclass
from tracekit.judge.effects import Effect
from tracekit.judge.evidence import USUAL, Circumstances, Sign, log_likelihood
from tracekit.judge.fingerprints import FINGERPRINTS
from tracekit.judge.priors import TWO_CAUSES, prior
from tracekit.options.judge import JudgeOptions

HYPOTHESES: tuple[str, ...] = tuple(code for code in FINGERPRINTS if code != "none")
_PAIRED = 6
_WITH_ANY = 2
_EXTENDED = 2
_MOST = 3
"""Causes that are looked for at once, at most."""
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
    weight = {code: prior(code, surroundings, complaint=True) for code in HYPOTHESES}
    possible = [code for code in HYPOTHESES if code not in circumstances.absent]
    share = _shares(weight, 0.6 if complaint else 0.25)

    def rated(codes: tuple[str, ...]) -> float:
        return float(np.log(share(codes))) + log_likelihood(codes, effects, signs, options, circumstances)

    logs: dict[tuple[str, ...], float] = {("none",): rated(("none",))}
    logs |= {(code,): rated((code,)) for code in possible}
    best = sorted(possible, key=lambda code: -logs[(code,)])
    # a second cause may look poor alone where the first explains most of what is measured
    tried = [*combinations(best[:_PAIRED], 2), *((a, b) for a in best[:_WITH_ANY] for b in best[_PAIRED:])]
    pairs: dict[tuple[str, ...], float] = {pair: rated(pair) for pair in tried if not _alike(pair)}
    logs |= pairs
    if max(pairs.values()) > logs[(best[0],)]:
        logs |= {codes: rated(codes) for codes in _with_a_third(pairs, possible)}
    top = max(logs.values())
    odds = {k: float(np.exp(v - top)) for k, v in logs.items()}
    norm = sum(odds.values())
    present = {code: sum(v for k, v in odds.items() if code in k) / norm for code in HYPOTHESES}
    single = {code: odds.get((code,), 0.0) / norm for code in HYPOTHESES}
    both: dict[frozenset[str], float] = {}
    for codes, value in odds.items():
        for pair in combinations(codes, 2):
            both[frozenset(pair)] = both.get(frozenset(pair), 0.0) + value / norm
    return Posterior(none=odds[("none",)] / norm, present=present, single=single, both=both, usual=weight)


def _with_a_third(pairs: Mapping[tuple[str, ...], float], possible: Iterable[str]) -> set[tuple[str, ...]]:
    """The best pairs, each with every other cause beside it."""
    best = sorted(pairs, key=lambda pair: -pairs[pair])[:_EXTENDED]
    made = {tuple(sorted({*pair, code})) for pair in best for code in possible if code not in pair}
    return {codes for codes in made if not _alike(codes)}


def _shares(weight: Mapping[str, float], faulty: float) -> Callable[[tuple[str, ...]], float]:
    """Prior of a set of causes: each cause beyond the first is there once in six, whichever it is."""
    sums = {count: _weight_of_sets(tuple(weight.items()), count) for count in (1, 2, 3)}

    def share(codes: tuple[str, ...]) -> float:
        if codes == ("none",):
            return 1.0 - faulty
        own = float(np.prod([weight[code] for code in codes])) / sums[len(codes)]
        more = TWO_CAUSES ** (len(codes) - 1) * (1.0 if len(codes) == _MOST else 1.0 - TWO_CAUSES)
        return faulty * more * own

    return share


def _alike(codes: Iterable[str]) -> bool:
    """Whether two of them look as one."""
    return any(len(alike.intersection(codes)) > 1 for alike in _ALIKE)


@lru_cache(maxsize=64)
def _weight_of_sets(weight: tuple[tuple[str, float], ...], count: int) -> float:
    """Sum of the products over all sets of so many causes that are made: together they have the prior of so many."""
    of = dict(weight)
    return float(sum(np.prod([of[code] for code in codes]) for codes in combinations(of, count) if not _alike(codes)))


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
