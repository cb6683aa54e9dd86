#!/usr/bin/env python3
"""Fettle's command line, and the launcher that makes its environment.

``start`` and ``test`` work on a bare machine: standard library only up to the moment the environment stands.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
STAMP = VENV / "fettle.json"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
REQUIREMENTS = {"start": ROOT / "config/requirements.txt", "test": ROOT / "config/requirements-test.txt"}


def stop(message: str) -> None:
    """End with one plain line on standard error."""
    sys.exit(f"fettle: {message}")


def fingerprint(requirements: Path) -> str:
    """What an environment was made from: the pinned list and the Python that installed it."""
    return hashlib.sha256(requirements.read_bytes() + sys.version.encode()).hexdigest()


def made_for() -> dict[str, str]:
    """Fingerprints that the environment's stamp holds; nothing when it is missing or half made."""
    try:
        return dict(json.loads(STAMP.read_text())) if PYTHON.exists() else {}
    except (OSError, ValueError):
        return {}


def check_machine() -> None:
    """Say in plain words what is missing before anything is made."""
    if sys.version_info < (3, 11):  # noqa: UP036 an older Python can run this launcher
        stop(f"needs Python 3.11 or newer; this is {sys.version.split()[0]}. Start it with a newer python3.")
    if not os.access(ROOT, os.W_OK):
        stop(f"cannot write in {ROOT}. Copy Fettle to a folder of your own, or ask for write access.")
    if not all(importlib.util.find_spec(name) for name in ("venv", "ensurepip")):
        stop("this Python cannot make an environment. On Debian or Ubuntu: apt-get install python3-venv")


def ensure(purpose: str) -> None:
    """Make or renew ``.venv`` for ``start`` or ``test``; a stamp lets the next call skip this."""
    wanted = fingerprint(REQUIREMENTS[purpose])
    if made_for().get(purpose) == wanted:
        return
    check_machine()
    print(f"fettle: preparing {VENV.name} (once; about a minute with a network) ...", flush=True)
    if not PYTHON.exists() and subprocess.call([sys.executable, "-m", "venv", str(VENV)]):
        stop("the environment could not be made. On Debian or Ubuntu: apt-get install python3-venv")
    pip = [str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--require-hashes"]
    done = subprocess.run(
        [*pip, "--only-binary", ":all:", "-r", str(REQUIREMENTS[purpose])], stderr=subprocess.PIPE, text=True
    )
    if done.returncode:
        print(done.stderr.strip()[-2000:], file=sys.stderr)
        stop(
            "packages could not be installed. Check the network (or your pip settings) and run the same command again."
        )
    # The test list holds everything of the other, at the same pins.
    kept = {"start": fingerprint(REQUIREMENTS["start"])}
    STAMP.write_text(json.dumps(kept | ({"test": wanted} if purpose == "test" else {})))


def hand_over(arguments: list[str]) -> None:
    """Become the environment's Python, so that signals reach the program itself."""
    command = [str(PYTHON), *arguments]
    if os.name == "nt":
        sys.exit(subprocess.call(command))
    os.execv(command[0], command)


def main(arguments: list[str]) -> None:
    """Prepare what ``start`` and ``test`` need, then run the command inside the environment."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    command = arguments[0] if arguments else "help"
    inside = Path(sys.prefix).resolve() == VENV.resolve()
    if command in REQUIREMENTS and not (inside and made_for().get(command) == fingerprint(REQUIREMENTS[command])):
        ensure(command)
        inside = Path(sys.prefix).resolve() == VENV.resolve()
    if command == "test":
        hand_over(["-m", "tests.suite", *arguments[1:]])
    if not inside and (command in REQUIREMENTS or PYTHON.exists()):
        hand_over([str(ROOT / "manage.py"), *arguments])
    if not importlib.util.find_spec("django"):
        stop("nothing is installed yet. Run: python3 manage.py start --demo")
    from django.core.management import execute_from_command_line

    execute_from_command_line([str(ROOT / "manage.py"), *arguments])


if __name__ == "__main__":
    main(sys.argv[1:])
