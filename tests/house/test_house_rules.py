"""The house's own rules, each tried on a good and a bad example."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, URLResolver, get_resolver

from media.base.access import PERMISSIONS, open_to_all, permitted

ROOT = Path(__file__).resolve().parents[2]
APPS = ("media", "survey", "treatments")


def patterns(resolver: URLResolver, before: str = "") -> Iterator[tuple[str, URLPattern]]:
    for one in resolver.url_patterns:
        if isinstance(one, URLResolver):
            yield from patterns(one, before + str(one.pattern))
        else:
            yield before + str(one.pattern), one


def undeclared(view: object) -> bool:
    said = getattr(view, "permission", "")
    return not (said in PERMISSIONS or said.startswith("open: "))


def test_every_view_says_who_may_use_it():
    assert [path for path, one in patterns(get_resolver()) if undeclared(one.callback)] == []


def test_a_view_without_a_declaration_is_found():
    def bare(request: HttpRequest) -> HttpResponse:
        return HttpResponse()

    assert undeclared(bare)
    assert not undeclared(permitted("register.read")(bare))
    assert not undeclared(open_to_all("why")(lambda request: HttpResponse()))


def test_a_permission_nobody_knows_is_refused():
    with pytest.raises(KeyError):
        permitted("register.raed")


INLINE = re.compile(r"<script(?![^>]*\bsrc=)[^>]*>\s*\S|<style\b|\sstyle=|\son[a-z]+=|\bhx-on", re.IGNORECASE)


def templates() -> list[Path]:
    return [path for app in APPS for path in (ROOT / app / "templates").rglob("*.html")]


def test_no_page_has_inline_script_or_style():
    assert [str(path) for path in templates() if INLINE.search(path.read_text())] == []


@pytest.mark.parametrize(
    ("text", "bad"),
    [
        ("<p style='x'>", True),
        ("<script>alert(1)</script>", True),
        ('<a onclick="x()">', True),
        ('<button hx-on:click="x">', True),
        ('<script type="module" src="/static/a.js"></script>', False),
        ("<p>on time = late</p>", False),
    ],
)
def test_inline_script_and_style_are_found(text, bad):
    assert bool(INLINE.search(text)) is bad


def tracked(*endings: str) -> list[Path]:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True).stdout.decode()
    return [ROOT / name for name in listed.split("\0") if name.endswith(endings) and (ROOT / name).exists()]


def test_no_python_file_holds_two_subjects():
    long = [
        str(path.relative_to(ROOT))
        for path in tracked(".py")
        if "/migrations/" not in str(path) and len(path.read_text().splitlines()) > 420
    ]
    assert long == [], "a file near 400 lines holds two subjects: split it by subject"


def test_requirement_files_hold_hashes_and_no_address():
    for name in ("requirements.txt", "requirements-test.txt"):
        text = (ROOT / "config" / name).read_text()
        assert "--hash=sha256:" in text
        assert not re.search(r"https?://|file:|--(extra-)?index-url|--find-links", text)
    assert not (ROOT / "uv.lock").exists() or ROOT / "uv.lock" not in tracked("uv.lock")


def test_models_and_migrations_agree(db):
    from django.core.management import call_command

    call_command("makemigrations", "media", "survey", "treatments", check=True, dry_run=True, verbosity=0)


def data_migrations_without_reverse(text: str) -> bool:
    return any("reverse" not in call and call.count(",") < 1 for call in re.findall(r"RunPython\(([^)]*)\)", text))


def test_every_data_migration_has_its_reverse():
    found = [p for app in APPS for p in (ROOT / app / "migrations").glob("*.py")]
    assert [str(p) for p in found if data_migrations_without_reverse(p.read_text())] == []
    assert data_migrations_without_reverse("RunPython(forward)")
    assert not data_migrations_without_reverse("RunPython(forward, backward)")


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "check", "--no-cache", "."],
        ["ruff", "format", "--check", "--no-cache", "."],
        ["importlinter.cli", "lint"],
        ["mypy", "--no-error-summary", "config", "media", "survey", "treatments", "fixtures"],
    ],
    ids=lambda command: " ".join(command[:2]),
)
def test_checkers_find_nothing(command):
    runner = [sys.executable, "-c", "from importlinter.cli import lint_imports; raise SystemExit(lint_imports())"]
    arguments = runner if command[0].startswith("importlinter") else [sys.executable, "-m", *command]
    done = subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, (done.stdout + done.stderr)[-4000:]
