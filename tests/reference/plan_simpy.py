"""The dispatch policy of the forecast as processes of a discrete-event library (simpy): one process per person."""

import simpy

WEEK = 672
DONE = 1e-9
SETTLE = 5  # rounds of events in which all that ends or becomes ready at this very moment is seen, person by person


class Season:
    """One season in which everyone takes the first ready step among the next ``ahead`` of their list."""

    def __init__(self, instance, plan, *, hours, ahead=60, protect_weeks=3.0):
        self.env = simpy.Environment()
        self.ahead = ahead
        objects = {thing["id"]: thing for thing in instance["objects"]}
        self.steps: dict[tuple[str, str], dict] = {}
        self.after: dict[tuple[str, str], list[tuple[str, str]]] = {}
        self.waiting: dict[tuple[str, str], int] = {}
        self.lists: dict[str, list] = {person["id"]: [] for person in instance["staff"]}
        for name, level in plan["levels"].items():
            for step in objects[name]["levels"][level]["steps"]:
                self.steps[name, step["id"]] = step
                self.waiting[name, step["id"]] = len(step["preds"])
                for before in step["preds"]:
                    self.after.setdefault((name, before), []).append((name, step["id"]))
        order = {key: place for place, key in enumerate(sorted(self.steps, key=lambda key: [*objects].index(key[0])))}
        for name, step, person, start in plan["steps"]:
            early = protect_weeks * WEEK * objects[name]["mandatory"]
            self.lists[person].append((start - early, order[name, step], (name, step)))
        self.left = {key: hours[key] for key in self.steps}
        self.owner = {key: person for person, own in self.lists.items() for *_, key in own}
        self.free = {"hood": instance["hoods"], "bench": instance["benches"]}
        self.latest = {}
        self.is_ready, self.ready_at = set(), dict.fromkeys(plan["levels"], 0)
        self.wake = {person: self.env.event() for person in self.lists}
        for key in self.steps:
            if self.waiting[key] == 0:
                self.env.process(self.become_ready(key, objects[key[0]]["release"]))
        for place, person in enumerate(instance["staff"], start=1):
            self.env.process(self.work(person["id"], person["shifts"], place * SETTLE))

    def run(self):
        """When each planned object is ready, quarter-hours; nothing for one that was not finished."""
        self.env.run()
        unfinished = {key[0] for key, left in self.left.items() if left > DONE}
        return {name: None if name in unfinished else at for name, at in self.ready_at.items()}

    def become_ready(self, key, delay):
        yield self.env.timeout(max(0, delay))
        self.is_ready.add(key)
        self.rouse(self.owner[key])

    def rouse(self, person):
        self.wake[person].succeed()
        self.wake[person] = self.env.event()

    def choose(self, todo, interrupted):
        for key in [*([interrupted] if interrupted else []), *todo[: self.ahead]]:
            resource = self.steps[key]["resource"]
            if key in self.is_ready and (resource is None or self.free[resource] > 0):
                return key
        return None

    def work(self, person, shifts, rounds):
        todo = [key for *_, key in sorted(self.lists[person])]
        interrupted = None
        for start, end in shifts:
            if self.env.now < start:
                yield self.env.timeout(start - self.env.now)
            while self.env.now < end - DONE:
                for _ in range(rounds):
                    yield self.env.timeout(0)
                key = self.choose(todo, interrupted)
                if key is None:
                    yield self.wake[person] | self.env.timeout(end - self.env.now)
                    continue
                if key in todo:
                    todo.remove(key)
                yield from self.do(key, min(self.left[key], end - self.env.now))
                if self.left[key] > DONE and interrupted not in (None, key):
                    todo.insert(0, key)
                elif self.left[key] > DONE:
                    interrupted = key
                elif key == interrupted:
                    interrupted = None

    def do(self, key, duration):
        resource = self.steps[key]["resource"]
        if resource:
            self.free[resource] -= 1
        yield self.env.timeout(duration)
        self.left[key] -= duration
        if resource:
            self.free[resource] += 1
            for person in self.lists:
                self.rouse(person)
        if self.left[key] <= DONE:
            self.finish(key)

    def finish(self, key):
        cure = self.steps[key]["cure"]
        self.ready_at[key[0]] = max(self.ready_at[key[0]], self.env.now + cure)
        for after in self.after.get(key, ()):
            self.waiting[after] -= 1
            self.latest[after] = max(self.latest.get(after, 0), self.env.now + cure)
            if self.waiting[after] == 0:
                self.env.process(self.become_ready(after, self.latest[after] - self.env.now))
