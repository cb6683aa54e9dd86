"""Run many histories of tablets and server over the real code, one per seed; prints the seed of any that fails.

.venv/bin/python -m tests.bench.simulate_sync --seeds 100000 [--first 0]
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
import traceback
from pathlib import Path

EVERY = 200


def prepare(folder: Path) -> None:
    """A database in memory, files in a folder of their own, and the project's own tables."""
    os.environ |= {"FETTLE_VAR": str(folder), "FETTLE_DATABASE": "sqlite:///:memory:", "FETTLE_JOBS_AT_ONCE": "1"}
    os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings"
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0)


def simulate(first: int, seeds: int) -> int:
    """Run the histories; the number that failed."""
    from tests.survey.capture import invariants
    from tests.survey.capture.simulation import World

    world, failed, began = World.made(), 0, time.monotonic()
    for done, seed in enumerate(range(first, first + seeds), start=1):
        try:
            invariants.run(world, seed)
        except Exception:  # noqa: BLE001  whatever it was, its seed is the finding and the others go on
            failed += 1
            print(f"seed {seed} failed:\n{traceback.format_exc(limit=-3)}", flush=True)
        if done % EVERY == 0 or done == seeds:
            rate = done / (time.monotonic() - began)
            print(f"{done} histories from seed {first}, {failed} failed, {rate:.1f} a second", flush=True)
    return failed


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=100_000)
    parser.add_argument("--first", type=int, default=0)
    chosen = parser.parse_args()
    memory = Path("/dev/shm")  # noqa: S108  files of a history need not survive it
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        prepare(Path(folder))
        return 1 if simulate(chosen.first, chosen.seeds) else 0


if __name__ == "__main__":
    sys.exit(main())
