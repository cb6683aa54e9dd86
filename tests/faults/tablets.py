"""A tablet as a real browser of its own, touched as a person would, killed at any moment, with a clock that is off."""

from __future__ import annotations

import io
import os
import random
import signal
import subprocess
import threading
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import Error, Page, Playwright

from tests.browser.conftest import FLAGS
from tests.processes import wait_for
from tests.suite import chromium

PATIENCE = 30_000
CLOCK = """(() => {
  const Real = Date, off = HOURS * 3600 * 1000;
  globalThis.Date = class extends Real {
    constructor(...when) { super(...(when.length ? when : [Real.now() + off])); }
    static now() { return Real.now() + off; }
  };
})()"""
ON_DISK = """async () => {
  const open = indexedDB.open("fettle-capture");
  const db = await new Promise((done) => { open.onsuccess = () => done(open.result); });
  const read = (name) => new Promise((done, failed) => {
    const asked = db.transaction(name).objectStore(name).getAll();
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  const hash = async (bytes) => [...new Uint8Array(await crypto.subtle.digest("SHA-256", await bytes.arrayBuffer()))]
    .map((byte) => byte.toString(16).padStart(2, "0")).join("");
  const [outbox, drafts, photographs] = [await read("outbox"), await read("drafts"), await read("photographs")];
  db.close();
  const kept = {};
  for (const row of photographs) kept[row.sha256] = { state: row.state, hash: await hash(row.bytes) };
  return { outbox, drafts, photographs: kept };
}"""


@dataclass
class Looked:
    """What a person did to one object, and how far the tablet had shown it as done."""

    object: str
    number: str
    touches: list[tuple[str, str, dict[str, Any]]]  # what to touch, what shows that it counted, what is then said
    photographs: list[bytes] = field(default_factory=list)
    until: int = 0
    done: int = 0
    trying: bool = False

    @property
    def finished(self) -> bool:
        return self.done == len(self.touches)


def a_look(thing: str, number: str, chance: random.Random) -> Looked:
    """An object as somebody may find it: nothing to remark, graded one by one, or restored with joints; or left off."""
    looked = _whole_look(thing, number, chance)
    looked.until = chance.randrange(len(looked.touches)) if chance.random() < 0.2 else len(looked.touches)
    return looked


def _whole_look(thing: str, number: str, chance: random.Random) -> Looked:
    touches: list[tuple[str, str, dict[str, Any]]] = []
    pictures = [_a_photograph(chance) for _ in range(chance.choice([0, 1, 1, 2]))]
    for i in range(len(pictures)):
        touches.append((f"photograph {i}", f"label:has-text('Photograph ({i + 1})')", {"photographs": i + 1}))
    if chance.random() < 0.4:
        graded = dict.fromkeys(("instability", "damage", "disfigurement"), "good")
        touches.append(
            ("#clear", "#clear[aria-pressed=true]", {"old_restoration": "none", "handling": "free"} | graded)
        )
        return Looked(thing, number, [*touches, ("#finish", "", {})], pictures)
    if chance.random() < 0.5:
        touches.append(("#restored-none", "#grade-damage-good", {"old_restoration": "none"}))
    else:
        touches.append(("#restored-present", "#add-joint", {"old_restoration": "present"}))
        for n in range(chance.randint(1, 3)):
            touches.append(("#add-joint", "#stage-0", {"made": n + 1}))
            stage = chance.randint(0, 3)
            touches.append((f"#stage-{stage}", f"#part-J{n + 1}", {"stages": n + 1}))
        touches.append(("#step-grades", "#grade-damage-good", {}))
    for axis in ("instability", "damage", "disfigurement"):
        grade = chance.choice(["good", "fair", "poor"])
        shown = "#handling-care" if axis == "disfigurement" else f"#grade-{axis}-{grade}[aria-pressed=true]"
        touches.append((f"#grade-{axis}-{grade}", shown, {axis: grade}))
    touches.append(("#handling-care", "#handling-care[aria-pressed=true]", {"handling": "care"}))
    return Looked(thing, number, [*touches, ("#finish", "", {})], pictures)


def _a_photograph(chance: random.Random) -> bytes:
    out = io.BytesIO()
    grain = bytes(chance.getrandbits(8) for _ in range(48 * 36))
    picture = Image.frombytes("L", (48, 36), grain).resize((640, 480)).convert("RGB")
    picture.save(out, "JPEG", quality=90)
    return out.getvalue()


def said(looked: Looked, touches: int) -> dict[str, Any]:
    """What is said after so many touches."""
    told: dict[str, Any] = {}
    for _, _, says in looked.touches[:touches]:
        told |= says
    return told


class Tablet:
    """One browser process with a folder of its own."""

    def __init__(self, playwright: Playwright, folder: Path, address: str, cookies: list[dict[str, Any]]) -> None:
        self.playwright, self.folder, self.address, self.cookies = playwright, folder, address, cookies
        self.process: subprocess.Popen[bytes] | None = None
        self.page: Page | None = None
        self.hours = 0.0
        self.looks: list[Looked] = []
        self.kills, self.struck = 0, False

    def start(self) -> Page:
        """The browser as its files left it."""
        self.folder.mkdir(parents=True, exist_ok=True)
        told = self.folder / "DevToolsActivePort"
        told.unlink(missing_ok=True)
        flags = [
            *FLAGS,
            "--headless=new",
            "--remote-debugging-port=0",
            f"--user-data-dir={self.folder}",
            "--no-first-run",
        ]
        self.process = subprocess.Popen(
            [chromium() or "", *flags, "about:blank"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            start_new_session=True,
        )  # fmt: skip
        wait_for(lambda: told.exists() and len(told.read_text().split()) > 1, seconds=60, every=0.05)
        port = told.read_text().split()[0]
        browser = self.playwright.chromium.connect_over_cdp(f"http://127.0.0.1:{port}")
        context = browser.contexts[0]
        context.add_cookies(self.cookies)  # type: ignore[arg-type]  # as the driver's own sign-in gave them
        context.add_init_script(CLOCK.replace("HOURS", str(self.hours)))
        self.page = context.new_page()
        self.page.set_default_timeout(PATIENCE)
        return self.page

    def kill(self) -> None:
        """As when a battery falls out."""
        if self.process and self.process.poll() is None:
            self.kills, self.struck = self.kills + 1, True
            with suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()

    def shown(self) -> str:
        """What its page says, for whoever looks into a failure."""
        with suppress(Error):
            return f"{self.page.url} {self.page.inner_text('body', timeout=2_000)[:300]!r}" if self.page else ""
        return "not there"

    def end(self) -> None:
        """Put away, not killed in the course of a shift."""
        if self.process and self.process.poll() is None:
            self.kill()
            self.kills -= 1
        self.page = None

    def ahead(self, hours: float) -> None:
        """Set its clock, which takes a start."""
        if hours != self.hours:
            self.end()
            self.hours = hours

    def alive(self) -> Page:
        """Its page, started anew if it was killed."""
        if self.page is None or self.process is None or self.process.poll() is not None:
            self.start()
        assert self.page
        return self.page

    def take_along(self, shelf: str) -> None:
        """Begin empty, with one shelf."""
        page = self.alive()
        page.goto(f"{self.address}/capture/openapi.json")  # of this origin, without the app
        page.evaluate("new Promise((done) => { indexedDB.deleteDatabase('fettle-capture').onsuccess = done; })")
        page.goto(f"{self.address}/capture/#/take")
        page.click(f"#take-{shelf}")
        page.click("#take")
        page.wait_for_selector("nav[aria-label='Shelves on this tablet'] a")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        self.looks = []

    def look(self, looked: Looked, chance: random.Random) -> None:
        """Touch one object through, perhaps killed on the way; whatever was begun is gone on with."""
        self.looks.append(looked)
        self.struck = False
        timer = threading.Timer(chance.uniform(0.02, 2.5), self.kill) if chance.random() < 0.4 else None
        if timer:
            timer.start()
        try:
            self._touch_through(looked)
        except Error:
            if not self.struck:
                raise
        if timer:
            timer.join()
        if self.struck:
            self.page = None
            self._count_on_disk(looked)
            self._touch_through(looked)

    def _touch_through(self, looked: Looked) -> None:
        page = self.alive()
        if looked.done >= looked.until:
            return
        page.goto(f"{self.address}/capture/#/object/{looked.object}")
        page.wait_for_selector(f"h1:has-text('{looked.number}')")
        while looked.done < looked.until:
            what, shows, _ = looked.touches[looked.done]
            looked.trying = True
            if what.startswith("photograph"):
                data = looked.photographs[int(what.split()[1])]
                page.set_input_files("#camera", {"name": "p.jpg", "mimeType": "image/jpeg", "buffer": data})
            else:
                page.click(what)
            if shows:
                page.wait_for_selector(shows)
            else:
                page.wait_for_function("id => !location.hash.includes(id)", arg=looked.object)
            looked.done, looked.trying = looked.done + 1, False

    def on_disk(self) -> dict[str, Any]:
        """What it holds, with the hash of each photograph as its bytes are now."""
        page = self.alive()
        if "/capture/" not in page.url:
            page.goto(f"{self.address}/capture/")
            page.wait_for_selector("h1")
        return dict(page.evaluate(ON_DISK))

    def send_all(self) -> dict[str, Any]:
        """With a good network three tries must be enough; what it holds then. Photographs of drafts stay unsent."""
        page = self.alive()
        page.goto(f"{self.address}/capture/#/outbox")
        for _ in range(3):
            page.click("#send")
            for _ in range(60):
                disk = self.on_disk()
                named = {name for kept in disk["outbox"] for name in kept["operation"]["photographs"]}
                left = [name for name in named if disk["photographs"][name]["state"] == "unsent"]
                if not left and all(kept["state"] != "unsent" for kept in disk["outbox"]):
                    return disk
                page.wait_for_timeout(250)
        raise AssertionError(f"it does not get through: {page.inner_text('main')[:400]}")

    def _count_on_disk(self, looked: Looked) -> None:
        """After a kill: whether the touch that was under way counted. What was shown as done must be there."""
        disk = self.on_disk()
        sent = [kept for kept in disk["outbox"] if kept["operation"]["object_id"] == looked.object]
        if sent and looked.done == len(looked.touches) - 1 and looked.trying:
            looked.done += 1
        if not looked.finished and looked.trying:
            draft = next((one for one in disk["drafts"] if one["object"] == looked.object), None)
            if draft and len(draft["before"]) > looked.done:
                looked.done += 1
        looked.trying = False
