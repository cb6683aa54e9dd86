"""How sure a plan with a buffer is, and what that costs: forecast against the true dates, benefit against their bound.

python -m tests.bench.bench_buffer --objects 300 --seed 1 --seconds 4 --weeks 0 0 2 1 3 0.5

Weeks come in pairs: for mandatory objects, for the others. The first row is the first schedule without a buffer. The
clock ends no search, busy as the machine may be.
"""

import json
import os

import treatments.planning.solve as solve_module
from tests.bench.asked import options
from tests.reference.plan_checker import check
from tests.reference.plan_instances import make
from treatments.forecast.simulate import simulate
from treatments.planning.bound import upper_bound
from treatments.planning.buffer import with_buffer
from treatments.planning.greedy import greedy_plan
from treatments.planning.problem import read_instance
from treatments.planning.solve import solve_instance, warm_up

ROUNDS = 700


def measure(name, instance, plan, bound, trials):
    forecast = simulate(instance, plan, trials=trials)
    errors, benefit, done, mandatory = check(instance, plan)
    return {
        "plan": name,
        "share_of_bound": round(benefit / bound, 4),
        "ready_mandatory": forecast.ready_mandatory,
        "ready_all": forecast.ready_all,
        "late_mean": round(forecast.late_mean, 2),
        "errors": len(errors),
        "mandatory": [done, mandatory],
        "load": os.getloadavg()[0],
    }


if __name__ == "__main__":
    asked = options(__doc__, seconds=4.0)
    asked.add_argument("--trials", type=int, default=2_000)
    asked.add_argument("--weeks", type=float, nargs="+", default=[0.0, 0.0, 2.0, 1.0, 3.0, 0.5])
    given = asked.parse_args()
    made = make(given.objects, given.seed, 14, given.team)
    warm_up()
    solve_module.PATIENCE = 1e6
    limit = upper_bound(read_instance(made), ROUNDS).value
    print(json.dumps(measure("first schedule", made, greedy_plan(made), limit, given.trials)))
    for must, other in zip(given.weeks[::2], given.weeks[1::2], strict=True):
        early = solve_instance(with_buffer(made, mandatory_weeks=must, other_weeks=other), seconds=given.seconds)
        print(json.dumps(measure(f"{must:g} and {other:g} weeks", made, early, limit, given.trials)))
