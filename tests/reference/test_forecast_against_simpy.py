"""The compiled simulation against an independent one, written with the simpy library, trial by trial on equal hours.

simpy (process-based discrete-event simulation, MIT licence) knows nothing of lists, queues or bits: here each person is
a process that looks for work, a hood is a counter, a cure is a timeout.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

import numpy as np
import pytest
import simpy

from treatments.forecast.dispatch import uniform_cell
from treatments.forecast.noise import Noise
from treatments.forecast.simulate import simulate

DAY, SEED = 96, 11
# Days begin and end at different quarters for each, so that no order among equals has to be agreed on.
PEOPLE = {"ann": (36, 27, {"examine", "join"}), "ben": (40, 22, {"photograph"}), "cat": (38, 26, {"examine", "join"})}
STEPS = (("examine", 6, 0, None, "ann"), ("join", 14, 60, "hood", "ann"), ("photo", 5, 0, "bench", "ben"))
WEEKS = 8
COURTESY = 1e-6  # of a quarter-hour: who stands first in the list of people takes a hood for which two ask at once


def an_instance(objects: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """Objects of three steps each; every second one is examined and joined by cat instead of ann."""
    days = [d for d in range(7 * WEEKS) if d % 7 < 5]
    staff = [
        {"id": name, "skills": sorted(skills), "shifts": [[d * DAY + at, d * DAY + at + length] for d in days]}
        for name, (at, length, skills) in PEOPLE.items()
    ]
    things, listed = [], []
    for number in range(objects):
        steps, before = [], []
        for name, q, cure, place, person in STEPS:
            skill = "photograph" if name == "photo" else name
            steps.append(
                {"id": name, "kind": name, "skill": skill, "resource": place, "q": q + number % 3, "cure": cure,
                 "preds": before}
            )  # fmt: skip
            before = [name]
            who = "cat" if person == "ann" and number % 2 else person
            listed.append([f"o{number}", name, who, None])
        dates = {"photo_by": 12 * DAY, "mount_by": 12 * DAY, "close_by": 14 * DAY}
        things.append({"id": f"o{number}", "release": 3 * number, **dates, "levels": [{"benefit": 1, "steps": steps}]})
    instance = {"weeks": WEEKS, "staff": staff, "hoods": 1, "benches": 1, "objects": things}
    return instance, {"levels": {thing["id"]: 0 for thing in things}, "steps": listed}


class Season:
    """One trial as simpy sees it. ``hours`` [object, step] in quarter-hours."""

    def __init__(self, instance: dict[str, Any], plan: dict[str, Any], hours: np.ndarray) -> None:
        self.env = simpy.Environment()
        self.instance, self.left = instance, {}
        self.ready: set[tuple[str, str]] = set()
        self.places = {"hood": 1, "bench": 1}
        self.finished: dict[str, float] = {}
        self.changed = self.env.event()
        self.own: dict[str, list[tuple[str, str]]] = {person["id"]: [] for person in instance["staff"]}
        for thing, step, person, _ in plan["steps"]:
            self.own[person].append((thing, step))
        for row, thing in enumerate(instance["objects"]):
            for column, step in enumerate(thing["levels"][0]["steps"]):
                self.left[thing["id"], step["id"]] = float(hours[row, column])
            self.env.process(self.wait(thing["release"], (thing["id"], "examine")))
        for rank, person in enumerate(instance["staff"]):
            self.env.process(self.work(person, rank * COURTESY))

    def announce(self) -> None:
        self.changed.succeed()
        self.changed = self.env.event()

    def wait(self, time: float, task: tuple[str, str]) -> Generator[Any, Any, None]:
        yield self.env.timeout(time)
        self.ready.add(task)
        self.announce()

    def step(self, task: tuple[str, str]) -> dict[str, Any]:
        thing = self.instance["objects"][int(task[0][1:])]
        return next(step for step in thing["levels"][0]["steps"] if step["id"] == task[1])

    def pick(self, own: list[tuple[str, str]], begun: list[tuple[str, str]]) -> tuple[str, str] | None:
        for task in [*begun, *own]:
            place = self.step(task)["resource"]
            if task in self.ready and (place is None or self.places[place]):
                return task
        return None

    def work(self, person: dict[str, Any], courtesy: float) -> Generator[Any, Any, None]:
        own, begun = self.own[person["id"]], []
        for start, end in person["shifts"]:
            yield self.env.timeout(max(0, start - self.env.now))
            while self.env.now < end - COURTESY and own:
                yield self.env.timeout(courtesy)
                task = self.pick(own, begun)
                if task is None:
                    yield self.changed | self.env.timeout(max(0, end - self.env.now))
                    continue
                yield from self.sit(task, end)
                if self.left[task] > 1e-4:
                    begun = begun or [task]  # what was begun first is gone on with first
                else:
                    begun = [other for other in begun if other != task]
                    own.remove(task)

    def sit(self, task: tuple[str, str], end: float) -> Generator[Any, Any, None]:
        step = self.step(task)
        if step["resource"]:
            self.places[step["resource"]] -= 1
        length = max(0, min(self.left[task], end - self.env.now))
        yield self.env.timeout(length)
        self.left[task] -= length
        if step["resource"]:
            self.places[step["resource"]] += 1
        if self.left[task] <= 1e-4:
            self.ready.discard(task)
            names = [name for name, *_ in STEPS]
            self.finished[task[0]] = self.env.now + step["cure"]
            following = [(task[0], name) for name in names[names.index(task[1]) + 1 :][:1]]
            if step["cure"]:
                self.env.process(self.wait(step["cure"], *following))
            else:  # at once, so that the same person may go on with it
                self.ready.update(following)
        self.announce()


def hours_of(instance: dict[str, Any], trial: int, noise: Noise) -> np.ndarray:
    """The hours that the compiled simulation draws in a trial, quarter-hours [object, step]."""
    key = np.random.SeedSequence(SEED).generate_state(1, np.uint64)[0]
    step, thing, team = noise.tables()
    rows = []
    for owner, one in enumerate(instance["objects"], start=1):
        common = team[uniform_cell(key, trial, 0)] * thing[uniform_cell(key, trial, owner)]
        steps = one["levels"][0]["steps"]
        rows.append(
            [s["q"] * common * step[uniform_cell(key, trial, owner << 20 | n)] for n, s in enumerate(steps, start=1)]
        )
    return np.array(rows)


@pytest.mark.parametrize("objects", [1, 6, 14])
def test_each_object_is_ready_at_the_same_moment_in_both_simulations(objects):
    instance, plan = an_instance(objects)
    noise = Noise(sigma=0.45, team_sigma=0.2)
    found = simulate(instance, plan, trials=60, seed=SEED, noise=noise, look_ahead=1_000, protect_weeks=0)
    for trial in range(60):
        season = Season(instance, plan, hours_of(instance, trial, noise))
        season.env.run()
        expected = [season.finished[name] for name in found.object_ids]
        assert found.ready[trial] == pytest.approx(expected, abs=0.01), trial
