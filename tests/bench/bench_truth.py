"""How far scores can be trusted, on made-up collections whose truth is known (``known_truth``).

Coverage of intervals, Brier scores against what departments go by without a model, and how many objects must be looked
at before most failing joints are found. Run from the top folder:
OPENBLAS_NUM_THREADS=1 python -m tests.bench.bench_truth [collections]
"""

import sys
from dataclasses import replace

import numpy as np

from survey.risk.bonds import normal_nodes
from survey.risk.draws import draw_chances, draw_worlds, intervals
from survey.risk.identification import CLASSES, DEFAULT_PRIOR, coded
from survey.risk.likelihoods import DEFAULT_TABLE
from survey.risk.look_next import worth_of_looks
from survey.risk.matrices import transition_matrix
from survey.risk.pace import Pace, pace_evidence
from survey.risk.stages import StagePrior
from survey.risk.together import score_together
from survey.risk.workshops import Findings, governing, identify
from tests.bench.known_truth import CHOSEN, NOW, SHARING, Collection, make

TRAINING = 100_000  # seeds from here up make the collections that rivals are taught on


def drawn(made: Collection, rng: np.random.Generator, draws: int = 200) -> np.ndarray:
    """Chances [n, d], the pace learned from the collection's own visits."""
    inputs, bonds = made.identified()
    belief = Pace.prior(CHOSEN)
    belief = belief.after(pace_evidence(inputs, bonds, CHOSEN, belief.years))
    worlds = draw_worlds(rng, CHOSEN, draws=draws, pace=belief, workshops=made.workshops)
    return draw_chances(inputs, bonds, worlds, np.arange(made.objects, dtype=np.uint64), CHOSEN)


def failed(made: Collection) -> np.ndarray:
    """Which objects failed before opening."""
    return np.bincount(made.owner, made.fails, minlength=made.objects) > 0


def coverage(seed: int) -> tuple[float, float, float]:
    """Share of objects whose true chance lies in its 90 % interval; the same of those whose interval stays clear of
    certainty; whether the number of failures lies in its own interval."""
    rng = np.random.default_rng(seed)
    made = make(rng)
    chances = drawn(made, rng)
    found = intervals(chances)
    inside = (made.chance >= found.low) & (made.chance <= found.high)
    clear = found.high < 0.999
    low, high = np.quantile((rng.random(chances.shape) < chances).sum(axis=0), [0.05, 0.95])
    return (
        float(inside.mean()),
        float(inside[clear].mean()) if clear.any() else np.nan,
        float(low <= failed(made).sum() <= high),
    )


def features(made: Collection) -> dict[str, np.ndarray]:
    """What departments go by without a model, one number for each object.

    The age of its oldest joint in tens of years; the worst stage seen, -1 for none; points on a paper checklist: the
    worst stage, and one each for joints older than 30 years, an adhesive that looks like a bad one, a part that carries
    or projects, more than three joints, a planned move, travel, and not having been looked at.
    """
    worst = np.full(made.objects, -1)
    np.maximum.at(worst, made.owner, made.visit_stage.max(axis=1))
    oldest = np.zeros(made.objects)
    np.maximum.at(oldest, made.owner, 2020 - made.year[made.restoration])
    bad = np.array([e.get("look") in ("yellow_shrunk_film", "brown_sticky", "amber_brittle") for e in made.evidence])
    bears = np.isin(made.part, ("foot", "neck", "handle", "spout"))
    points = np.maximum(worst, 0) + (oldest > 30) + (worst < 0)
    for flag in (bad, bears):
        points = points + (np.bincount(made.owner, flag, minlength=made.objects) > 0)
    points = points + (np.bincount(made.owner, minlength=made.objects) > 3)
    points = points + (made.moves.sum(axis=1) > 0) + (made.moves[:, 3] > 0)
    return {"age alone": np.floor(oldest / 10), "worst sign alone": worst, "additive checklist": points}


def taught(collections: int) -> dict[str, dict[int, float]]:
    """For each rival, how often objects fail at each value: the best it can say, learned from other collections."""
    tables: dict[str, dict[int, list[float]]] = {}
    for seed in range(TRAINING, TRAINING + collections):
        made = make(np.random.default_rng(seed))
        outcome = failed(made)
        for name, values in features(made).items():
            for value, happened in zip(values.astype(int), outcome, strict=True):
                tables.setdefault(name, {}).setdefault(value, []).append(float(happened))
    return {name: {v: float(np.mean(seen)) for v, seen in table.items()} for name, table in tables.items()}


def brier(seed: int, rivals: dict[str, dict[int, float]]) -> dict[str, float]:
    """Mean squared error of each way of saying how likely objects are to fail."""
    rng = np.random.default_rng(seed)
    made = make(rng)
    outcome = failed(made)
    inputs, bonds = made.identified()
    said = {
        "scores with draws": drawn(made, rng).mean(axis=1),
        "scores, middle belief": score_together(inputs, bonds, CHOSEN).objects.middle[:, -1],
        "one who knows the truth": made.chance,
    }
    for name, values in features(made).items():
        said[name] = np.array([rivals[name].get(value, 0.5) for value in values.astype(int)])
    return {name: float(np.mean((chances - outcome) ** 2)) for name, chances in said.items()}


def looks_needed(seed: int, *, share: float = 0.8, again: int = 8) -> dict[str, float]:
    """Objects, and minutes, looked at before ``share`` of the failing joints is found, in several orders.

    A joint is failing if it moves, gapes or is open today (stage 3 or 4). Two in ten objects were looked at before;
    after every eighth of the rest, look-next is asked anew with what was found. ``best`` is the order of one who knows
    what each look will find. No rule can do better than one who knows every parameter (``knowing``), unless by luck:
    the rest is how long each joint happened to wait. One who knew each joint's adhesive and pace too would need tests.
    """
    rng = np.random.default_rng(seed)
    made = make(rng, surveyed=0.2)
    never = np.flatnonzero(np.bincount(made.owner, (made.visit_stage >= 0).any(axis=1), minlength=made.objects) == 0)
    joints = np.bincount(made.owner, minlength=made.objects)
    failing = np.bincount(made.owner, made.stage >= 3, minlength=made.objects)
    goal, minutes = share * failing[never].sum(), 6.0 + 2.0 * joints

    def needed(order: np.ndarray) -> tuple[float, float]:
        count = int(np.searchsorted(np.cumsum(failing[order]), goal - 1e-9)) + 1
        return float(count), float(minutes[order[:count]].sum())

    shelf = np.mean([needed(rng.permutation(never)) for _ in range(50)], axis=0)
    rates, worths = (needed(_as_asked(made, never, rng, again, by_minute)) for by_minute in (True, False))
    best = needed(never[np.argsort(-failing[never], kind="stable")])
    bounds = {
        f"one who knows {words}": needed(never[np.argsort(-made_of(made)[never], kind="stable")])
        for words, made_of in (("every parameter", knowing), ("adhesives and paces too", knowing_joints))
    }
    found = {"by worth a minute": rates, "by worth": worths, "shelf": tuple(shelf), **bounds, "best": best}
    flat = {f"{name}, {unit}": value for name, pair in found.items() for unit, value in zip(UNITS, pair, strict=True)}
    return flat | {"share failing": float((made.stage >= 3).mean())}


UNITS = ("objects", "minutes")
BOUNDS = ("one who knows every parameter", "one who knows adhesives and paces too", "best")
STAY_RATES = 1.0 / np.array([15.0, 14.0, 12.0, 8.0])


def knowing(made: Collection) -> np.ndarray:
    """Failing joints [n] expected by one who knows how fast each class fails, each workshop's habit and whose each
    restoration is; what each joint holds by, its hand's pace and its luck stay open."""
    true, classes = made.true, len(CLASSES)
    findings = Findings.of(
        coded(made.evidence, DEFAULT_TABLE), DEFAULT_TABLE, restoration=made.restoration, workshop=true.shop,
        years=np.stack([made.year, made.year], axis=1), prior=DEFAULT_PRIOR, sharing=SHARING,
    )  # fmt: skip
    certain = np.full((true.habits.size, classes), 1e-9)
    certain[np.arange(true.habits.size), true.habits] = 1.0
    found = identify(findings, SHARING, workshops=certain / certain.sum(axis=1, keepdims=True))
    shares = governing(found, np.arange(made.owner.size)).classes
    nodes, weights = normal_nodes(9)
    chance = np.zeros(made.owner.size)
    for kind in range(classes):
        for node, weight in zip(nodes, weights, strict=True):
            pace = true.speed[kind] * np.exp(SHARING.frailty * node)
            chance += shares[:, kind] * weight * _failing(made, pace)
    return np.bincount(made.owner, chance, made.objects)


def knowing_joints(made: Collection) -> np.ndarray:
    """The same by one who also knows what each joint holds by and how fast its hand's work fails."""
    return np.bincount(made.owner, _failing(made, made.true.pace), made.objects)


def _failing(made: Collection, pace: np.ndarray | float) -> np.ndarray:
    """Chance [j] that a joint is failing or open today."""
    age = (NOW - made.year[made.restoration]) * made.climate[made.owner]
    return transition_matrix(STAY_RATES, age * pace)[:, 0, 3:].sum(axis=1)


def _as_asked(made: Collection, never: np.ndarray, rng: np.random.Generator, again: int, by_minute: bool) -> np.ndarray:
    """Objects in the order that look-next gives, told after each batch what was found."""
    order: list[int] = []
    left = never
    while left.size:
        inputs, bonds = made.identified()
        belief = Pace.prior(CHOSEN)
        belief = belief.after(pace_evidence(inputs, bonds, CHOSEN, belief.years))
        learned = replace(CHOSEN, priors=(StagePrior("learned", belief.quantile(0.5), "from these visits"),))
        looks = worth_of_looks(inputs, bonds, stake=np.ones(made.owner.size), assumptions=learned)
        value = looks.worth / looks.minutes if by_minute else looks.worth
        best = left[np.argsort(-value[left], kind="stable")][: never.size // again + 1]
        order += best.tolist()
        left = np.setdiff1d(left, best)
        made = made.looked_at(best, rng)
    return np.array(order)


def _said(name: str, values: list[float] | np.ndarray) -> str:
    numbers = np.asarray(values, dtype=float)
    numbers = numbers[np.isfinite(numbers)]
    error = numbers.std(ddof=1) / np.sqrt(numbers.size)
    return f"  {name:42s} {numbers.mean():.3f}  (sd {numbers.std(ddof=1):.3f}, standard error {error:.3f})"


def main(collections: int) -> None:
    """Print all figures with their spread over collections."""
    whole, clear, count = zip(*[coverage(seed) for seed in range(collections)], strict=True)
    print(f"{collections} collections of 120 objects: coverage of 90 % intervals")
    print(_said("true chances of objects", whole))
    print(_said("of those whose interval is below 0.999", clear))
    print(_said("number of objects that fail", count))
    rivals = taught(max(20, collections // 2))
    scores = [brier(seed, rivals) for seed in range(collections)]
    print("Brier score over objects, lower is better")
    for name in sorted(scores[0], key=lambda one: np.mean([score[one] for score in scores])):
        print(_said(name, [score[name] for score in scores]))
    for name in rivals:
        better = np.mean([score["scores with draws"] < score[name] for score in scores])
        print(f"  scores with draws beat {name} in {better:.0%} of collections")
    look_next(max(10, collections // 2))


def look_next(collections: int) -> None:
    """Print what look-next spares, by how many joints are failing: the fewer, the more there is to choose.

    Published surveys found from a tenth of the vessels to close to half of them unstable.
    """
    rows = [looks_needed(seed) for seed in range(collections)]
    for low, high in ((0.0, 1.0), (0.05, 0.25), (0.25, 0.5), (0.5, 1.0)):
        words = f"{low:.0%} to {high:.0%} of joints failing"
        some = [row for row in rows if low <= row["share failing"] <= high and row["shelf, objects"] > 1]
        print(f"until 80 % of the failing joints are found; {len(some)} collections with {words}")
        if len(some) < 2:
            continue
        for unit in UNITS:
            for name in ("by worth a minute", "by worth", *BOUNDS):
                shares = [row[f"{name}, {unit}"] / row[f"shelf, {unit}"] for row in some]
                print(_said(f"{name}, of shelf order in {unit}", shares))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
