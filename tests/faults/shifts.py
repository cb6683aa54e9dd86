"""Shifts of one to three tablets with a server and a network that fail, in real processes; each seed gives its faults.

    .venv/bin/python -m tests.faults.shifts --runs 1000 [--seed 0] [--minutes 15]

After each run every assessment that a tablet showed as saved is on the server once, as it was said, with each of its
photographs byte for byte; what was only begun is on its tablet as last touched. Processes are not deterministic: the
seed gives the same work and the same choices of faults, not the same moments.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import sys
import tempfile
import time
import traceback
import uuid
from collections import Counter
from contextlib import ExitStack, suppress
from pathlib import Path

from playwright.sync_api import Playwright, sync_playwright

from media.management.commands.start import DEMO_PASSWORD
from tests.faults.between import Between
from tests.faults.judged import check, need
from tests.faults.tablets import Tablet, a_look
from tests.processes import Installation, free_port, wait_for
from tests.sending import Sender

OBJECTS = 4
MUSEUM = f"""
from media.base.models import User
from survey.models import Object, Place
User.objects.create_user('head', password={DEMO_PASSWORD!r}, role='head')
for s in range(RUNS):
    shelf = Place.objects.create(
        kind='shelf', name=f'Shelf {{s}}', position=s, path=f'{{s:05}}.', full_name=f'Store A, shelf {{s}}')
    Object.objects.bulk_create(
        Object(number=f'F {{s}}-{{i}}.', number_key=f'F {{s}}-{{i}}.', simple_name='jar', place=shelf)
        for i in range({OBJECTS}))
"""


class Store:
    """A museum, its server, the bad network before it, and three tablets."""

    def __init__(self, folder: Path, playwright: Playwright, runs: int, first: int) -> None:
        self.museum = Installation(folder)
        self.first, self.kills, self.faults = first, 0, Counter[str]()
        self.museum.manage("migrate", "-v", "0")
        self.museum.manage("defaults")
        self.museum.shell(MUSEUM.replace("RUNS", str(runs)))
        port = free_port()
        self.server = self.museum.begin(["-m", "tests.faults.served", str(port)])
        self.between = Between(port, self.kill_server)
        wait_for(self._answers, seconds=120)
        sender = Sender(f"http://127.0.0.1:{port}", str(uuid.uuid4()), who="head", password=DEMO_PASSWORD)
        address = f"http://127.0.0.1:{self.between.port}"
        cookies = [{"name": name, "value": value, "url": address} for name, value in sender.cookies.items()]
        self.tablets = [Tablet(playwright, folder / f"tablet{i}", address, cookies) for i in range(3)]

    def _answers(self) -> bool:
        need(self.server.poll() is None, self.museum.said())
        return self.between.exchange(b"GET /alive/ HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n").startswith(b"HTTP/1.1 200")

    def kill_server(self) -> None:
        """SIGKILL in the middle of whatever it does; the next one stands ready."""
        with suppress(ProcessLookupError, FileNotFoundError):  # it is being replaced at this moment
            os.kill(int((self.museum.folder / "served.pid").read_text()), signal.SIGKILL)
            self.kills += 1

    def close(self) -> None:
        for tablet in self.tablets:
            tablet.end()
        self.museum.close()

    def run(self, seed: int) -> None:
        """One shift. Raises ``Broken``."""
        chance, name = random.Random(seed), seed - self.first
        [(shelf,)] = self.museum.rows(f"SELECT id FROM survey_place WHERE name = 'Shelf {name}'")  # noqa: S608
        query = f"SELECT id, number FROM survey_object WHERE number LIKE 'F {name}-%' ORDER BY number"  # noqa: S608
        things = self.museum.rows(query)
        at_work = self.tablets[: chance.choice([1, 2, 2, 3])]
        self.between.bad, self.between.seed, self.between.count = False, seed, 0
        for tablet in at_work:
            tablet.ahead(chance.choice([0, 0, 7, -30, 90_000]))
            tablet.take_along(str(uuid.UUID(str(shelf))))
        self.between.bad = True
        left = [(tablet, chance.sample(things, chance.randint(1, 3))) for tablet in at_work]
        while any(things for _, things in left):
            tablet, mine = chance.choice([each for each in left if each[1]])
            pk, number = mine.pop()
            tablet.look(a_look(str(uuid.UUID(str(pk))), number, chance), chance)
        self.between.calm()
        for tablet in at_work:
            check(self.museum, tablet.looks, tablet.send_all())
        self.faults += self.between.seen
        self.between.seen.clear()


def shifts(runs: int, first: int, minutes: float) -> tuple[int, list[int], dict[str, int]]:
    """Run shifts until all are done or time is up: how many ran, the seeds that failed, and what faults they met."""
    failed, done = [], 0
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(ignore_cleanup_errors=True)))
        store = Store(folder, stack.enter_context(sync_playwright()), runs, first)
        stack.callback(store.close)
        until = time.monotonic() + minutes * 60
        for seed in range(first, first + runs):
            if time.monotonic() > until:
                break
            done += 1
            try:
                store.run(seed)
            except Exception:  # noqa: BLE001  whatever it was, its seed is the finding and the others go on
                failed.append(seed)
                print(f"seed {seed} failed:\n{traceback.format_exc(limit=-4)}", flush=True)
                for tablet in store.tablets:
                    print(tablet.shown(), flush=True)
                    tablet.end()
        met = {"server killed": store.kills, "browser killed": sum(tablet.kills for tablet in store.tablets)}
    return done, failed, met | store.faults


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=1_000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--minutes", type=float, default=600)
    chosen = parser.parse_args()
    done, failed, met = shifts(chosen.runs, chosen.seed, chosen.minutes)
    print(f"{done} shifts from seed {chosen.seed}, failed: {failed or 'none'}; {met}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
