"""Queries and response times of every list page, over whatever the configured database holds.

    python manage.py demo
    python manage.py import_register open-register.csv --source Open --unit in --zero-is-not-recorded --yes
    python -m tests.bench.bench_pages --times 40

Prints, for each page, how many queries it makes and the median and 95th percentile of its time, through the whole
stack but the network; and the same for the last page of the register beside its first.
"""

from __future__ import annotations

import argparse
import os
import re
import time

import django
import numpy as np

PAGES = (
    "/", "/register/", "/register/?q=jar", "/register/imports/", "/places/", "/exhibitions/", "/survey/", "/ranking/",
    "/ranking/?order=without", "/ranking/do-not-lift/", "/treatments/", "/forecast/", "/forecast/objects/", "/staff/",
)  # fmt: skip


def measure(client, path: str, times: int) -> tuple[int, float, float, str]:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as queries:
        answer = client.get(path)
    asked = len(queries)  # the next request empties the log
    assert answer.status_code == 200, (path, answer.status_code)
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        client.get(path)
        taken.append((time.perf_counter() - began) * 1000)
    median, late = np.quantile(taken, [0.5, 0.95])
    return asked, float(median), float(late), body.decode()


def last_page(client) -> str:
    """The address of the register's last page, by walking there once."""
    path, after = "/register/", "/register/"
    while True:
        found = re.search(r'href="(\?[^"]*after=[^"]+)"', client.get(path).content.decode())
        if not found:
            return after
        after = path = "/register/" + found.group(1).replace("&amp;", "&")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=40)
    parser.add_argument("--walk", action="store_true", help="walk to the register's last page as well")
    options = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    from django.conf import settings
    from django.test import Client

    from media.base.models import User
    from survey.models import JointRisk, Object, ObjectRisk

    settings.ALLOWED_HOSTS = ["*"]
    client = Client()
    client.force_login(User.objects.filter(role="head").first())
    print(
        f"{Object.objects.count()} objects, {ObjectRisk.objects.count()} scores, {JointRisk.objects.count()} of joints"
    )
    print(f"{'page':36} queries  median ms     p95 ms   kB")
    pages = [*PAGES, *([last_page(client)] if options.walk else [])]
    for path in pages:
        queries, median, late, body = measure(client, path, options.times)
        print(f"{path[:36]:36} {queries:7} {median:10.1f} {late:10.1f} {len(body) / 1024:6.0f}")


if __name__ == "__main__":
    main()
