"""What ties the joints of an object to each other: one adhesive, one hand's pace, one way of handling, one part on
another."""

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import NDArray

from survey.risk.identification import CLASSES
from survey.risk.inputs import JointInputs
from survey.risk.workshops import Findings, Governs, Identified, Sharing

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

FRAILTIES, HANDLINGS = 5, 5  # nodes of the sums over pace and handling; tested against many more


@dataclass(frozen=True)
class Habits:
    """What ties restorations [r] to workshops: ``workshop`` [r], -1 where not known; ``upward`` [r, c], likelihood of
    all that was found in each (any scale); ``prior`` [c], how often each class is met."""

    workshop: Whole
    upward: Floats
    prior: Floats


@dataclass(frozen=True)
class Bonds:
    """Ties between joints [j].

    Attributes
    ----------
    restoration : int [j], the restoration of each joint; all joints of one restoration belong to one object
    restorations : [r, c], probabilities of what each restoration holds by
    follows : [j, c], chance that a joint holds by its restoration's adhesive, for each class that one may be
    otherwise : [j, c], the classes of the joint if it does not
    depends_on : int [j], the joint whose part carries this one's: if that lets go, this falls with it; -1 for none
    sharing : Sharing
    habits : Habits, optional, of the workshops, so that draws can give one workshop one habit at a time
    """

    restoration: Whole
    restorations: Floats
    follows: Floats
    otherwise: Floats
    depends_on: Whole
    sharing: Sharing
    habits: Habits | None = None

    def __post_init__(self) -> None:
        joints, of = self.restoration.size, self.restorations.shape
        if len(of) != 2 or of[1] != len(CLASSES) or np.any((self.restoration < 0) | (self.restoration >= of[0])):
            raise ValueError("restoration must point into restorations, which must be [r, c]")
        for name in ("follows", "otherwise"):
            values = getattr(self, name)
            if values.shape != (joints, len(CLASSES)) or np.any(~((values >= 0) & (values <= 1 + 1e-9))):
                raise ValueError(f"{name} must lie between 0 and 1, one for each joint and class")
        for name in ("restorations", "otherwise"):
            if not np.allclose(getattr(self, name).sum(axis=1), 1.0, atol=1e-6):
                raise ValueError(f"{name} must add up to 1 in each row")
        if self.depends_on.shape != (joints,) or np.any((self.depends_on < -1) | (self.depends_on >= joints)):
            raise ValueError("depends_on must be the row of another joint, or -1")
        _carriers(self.depends_on)

    @classmethod
    def of(
        cls,
        identified: Identified,
        governs: Governs,
        restoration: Whole,
        sharing: Sharing,
        *,
        depends_on: Whole | None = None,
        findings: Findings | None = None,
    ) -> "Bonds":
        """Ties of joints [j] as identified; ``restoration`` [j] as in the ``findings``, which are needed for habits."""
        alone = np.full(restoration.size, -1, dtype=np.int64) if depends_on is None else depends_on
        habits = Habits(findings.workshop, identified.upward, findings.prior) if findings else None
        of = identified.restorations
        return cls(restoration, of, governs.follows, governs.otherwise, alone, sharing, habits)

    @classmethod
    def none(cls, inputs: JointInputs) -> "Bonds":
        """No ties at all: every joint a restoration of its own, of common pace, handled on its own."""
        shares, joints = inputs.class_probabilities, inputs.object_index.size
        apart = Sharing(frailty=0.0, handling=0.0)
        alone = np.full(joints, -1, dtype=np.int64)
        return cls(np.arange(joints), shares, np.ones(shares.shape), shares, alone, apart)

    def check(self, inputs: JointInputs) -> None:
        """ValueError unless the ties fit these joints."""
        if self.restoration.shape != inputs.object_index.shape:
            raise ValueError("restoration must have one entry for each joint")
        owner = np.full(self.restorations.shape[0], -1, dtype=np.int64)
        owner[self.restoration] = inputs.object_index
        if np.any(owner[self.restoration] != inputs.object_index):
            raise ValueError("restoration must not join two objects")
        hung = self.depends_on >= 0
        if np.any(inputs.object_index[self.depends_on[hung]] != inputs.object_index[hung]):
            raise ValueError("depends_on must point to a joint of the same object")

    def paces(self) -> tuple[Floats, Floats]:
        """Paces [f] a restoration may have, and their weights [f]."""
        nodes, weights = normal_nodes(FRAILTIES if self.sharing.frailty > 0 else 1)
        return np.exp(self.sharing.frailty * nodes), weights

    def ways(self, scatter: float, shared: float) -> tuple[Floats, Floats, float, float]:
        """Ways of handling as additions [h] to ln(stress), weights [h], and the scatter and its shared part left."""
        part = shared * self.sharing.handling
        nodes, weights = normal_nodes(HANDLINGS if part > 0 else 1)
        if part >= 1.0:
            part = 1.0 - 1e-6  # a little is left to each joint, so that the rest stays a distribution
        left = scatter * float(np.sqrt(1.0 - part))
        return scatter * np.sqrt(part) * nodes, weights, left, (shared - part) / (1.0 - part)


def normal_nodes(count: int) -> tuple[Floats, Floats]:
    """Gauss-Hermite nodes and weights of a standard normal; a single node at its middle."""
    nodes, weights = hermegauss(count)
    return nodes, weights / weights.sum()


def loss_with_dependents(loss: Floats, depends_on: Whole) -> Floats:
    """Share lost [j] when a joint lets go, with all that falls with it; at most all of it."""
    with np.errstate(divide="ignore"):
        kept = np.log1p(-np.asarray(loss, dtype=np.float64))
    total = kept.copy()
    for carrier in _carriers(depends_on):
        hung = carrier >= 0
        np.add.at(total, carrier[hung], kept[hung])
    return np.asarray(-np.expm1(total))


def carried_by_each(depends_on: Whole) -> Whole:
    """How many joints fall with each joint [j]."""
    count = np.zeros(depends_on.size, dtype=np.int64)
    for carrier in _carriers(depends_on):
        np.add.at(count, carrier[carrier >= 0], 1)
    return count


def _carriers(depends_on: Whole) -> list[Whole]:
    """For each joint what carries it, what carries that, and so on; ValueError where that goes in a circle."""
    found, carrier = [], depends_on
    while np.any(carrier >= 0):
        found.append(carrier)
        if len(found) > depends_on.size:
            raise ValueError("depends_on must not go in a circle")
        carrier = np.where(carrier >= 0, depends_on[carrier], -1)
    return found
