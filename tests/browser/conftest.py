"""A real Chromium on a real server with a real worker."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Playwright

from media.management.commands.start import DEMO_PASSWORD
from tests.processes import Installation
from tests.suite import chromium

AXE = Path(__file__).parent / "vendor/axe.min.js"
SHELF = """
from datetime import date
from survey.models import Object, Place, SurveyRound
shelf = Place.objects.create(kind='shelf', name='Shelf 1', position=1, path='00001.', full_name='Store A, shelf 1')
for i in range(1, 7):
    Object.objects.create(number=f'S {i}', number_key=f'S {i}', simple_name='jar', place=shelf)
SurveyRound.objects.create(name='Spring', started_on=date(2026, 2, 1), definitions=1)
"""
SIZES = {"tablet": (820, 1180), "desk": (1440, 900), "phone": (390, 844)}
FLAGS = ["--no-sandbox", "--disable-background-networking", "--disable-component-update", "--disable-sync"]


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    launched = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
    yield launched
    launched.close()


@pytest.fixture(scope="session")
def museum(tmp_path_factory) -> Iterator[Installation]:
    """The demo, started as a newcomer would start it."""
    installation = Installation(tmp_path_factory.mktemp("museum"))
    try:
        installation.server("--demo")
        yield installation
    finally:
        installation.close()


@pytest.fixture
def empty(tmp_path) -> Iterator[Installation]:
    """An installation without anything but one person who may do everything."""
    installation = Installation(tmp_path)
    try:
        installation.manage("migrate", "-v", "0")
        installation.shell(
            "from media.base.models import User; "
            f"User.objects.create_user('head', password={DEMO_PASSWORD!r}, role='head', first_name='Hanne')"
        )
        installation.server()
        yield installation
    finally:
        installation.close()


@pytest.fixture(scope="module")
def store_room(tmp_path_factory) -> Iterator[Installation]:
    """One shelf of six objects, and one person; shared by the tests of a file."""
    installation = Installation(tmp_path_factory.mktemp("store_room"))
    try:
        installation.manage("migrate", "-v", "0")
        installation.shell(
            f"from media.base.models import User; User.objects.create_user('head', password={DEMO_PASSWORD!r}, "
            f"role='head', first_name='Hanne')\n{SHELF}"
        )
        installation.server("--no-worker")
        yield installation
    finally:
        installation.close()


class Visit:
    """A signed-in page that remembers what went wrong behind it."""

    def __init__(self, page: Page, address: str) -> None:
        self.page, self.address = page, address
        self.wrong: list[str] = []
        page.on("console", lambda message: self._heard(message.type, message.text))
        page.on("pageerror", lambda error: self.wrong.append(str(error)))
        page.set_default_timeout(20_000)

    def _heard(self, kind: str, text: str) -> None:
        if kind == "error":
            self.wrong.append(text)

    def go(self, path: str) -> Page:
        answer = self.page.goto(self.address + path)
        assert answer is not None and answer.status < 400, f"{path}: {answer and answer.status}"
        return self.page

    def sign_in(self, who: str) -> None:
        self.go("/sign-in/")
        self.page.fill("#id_username", who)
        self.page.fill("#id_password", DEMO_PASSWORD)
        self.page.click("main button.primary")
        self.page.wait_for_url(f"{self.address}/")

    def audit(self) -> list[str]:
        """What axe-core finds serious or critical on the page as it stands."""
        self.page.add_script_tag(path=AXE)
        found: list[dict[str, Any]] = self.page.evaluate("async () => (await axe.run()).violations")
        return [
            f"{one['id']}: {node['target']} {node.get('failureSummary', '')[:200]}"
            for one in found
            if one["impact"] in {"serious", "critical"}
            for node in one["nodes"]
        ]

    def overflow(self) -> int:
        """Pixels by which the page is wider than its window."""
        return int(self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))


@contextmanager
def visiting(browser: Browser, installation: Installation, size: str, *, who: str = "head", **options: Any):
    width, height = SIZES[size]
    # axe is put into the page by the test itself, which the page's own policy would refuse.
    context = browser.new_context(viewport={"width": width, "height": height}, bypass_csp=True, **options)
    try:
        visit = Visit(context.new_page(), installation.address)
        if who:
            visit.sign_in(who)
        yield visit
    except BaseException:
        if shots := os.environ.get("FETTLE_TEST_SHOTS"):
            visit.page.screenshot(path=f"{shots}/failed-{size}.png", full_page=True)
        raise
    finally:
        context.close()
