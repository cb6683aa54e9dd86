"""The launcher says in plain words what is missing, and does its work once."""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def launcher(tmp_path, monkeypatch):
    spec = importlib.util.spec_from_file_location("launcher", ROOT / "manage.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    monkeypatch.setattr(module, "ROOT", tmp_path)
    monkeypatch.setattr(module, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(module, "STAMP", tmp_path / ".venv/fettle.json")
    monkeypatch.setattr(module, "PYTHON", tmp_path / ".venv/bin/python")
    return module


def test_it_imports_nothing_but_the_standard_library():
    import ast

    tree = ast.parse((ROOT / "manage.py").read_text())
    top = [node for node in tree.body if isinstance(node, ast.Import | ast.ImportFrom)]
    names = {alias.name.split(".")[0] for node in top if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module.split(".")[0] for node in top if isinstance(node, ast.ImportFrom) and node.module}
    assert names <= set(sys.stdlib_module_names)


def test_an_old_python_is_told_so(launcher, monkeypatch):
    monkeypatch.setattr(launcher.sys, "version_info", (3, 10))
    with pytest.raises(SystemExit, match=r"needs Python 3\.11"):
        launcher.check_machine()


def test_a_python_that_makes_no_environments_is_told_what_to_install(launcher, monkeypatch):
    monkeypatch.setattr(launcher.importlib.util, "find_spec", lambda name: None if name == "ensurepip" else object())
    with pytest.raises(SystemExit, match="apt-get install python3-venv"):
        launcher.check_machine()


def test_a_folder_that_cannot_be_written_is_named(launcher, monkeypatch):
    monkeypatch.setattr(launcher.os, "access", lambda path, mode: False)
    with pytest.raises(SystemExit, match="cannot write in"):
        launcher.check_machine()


def test_a_list_that_cannot_be_installed_leaves_no_stamp(launcher, tmp_path, monkeypatch, capsys):
    wrong = tmp_path / "requirements.txt"
    wrong.write_text("no-such-package-anywhere==1 --hash=sha256:" + "0" * 64 + "\n")
    monkeypatch.setattr(launcher, "REQUIREMENTS", {"start": wrong, "test": wrong})
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    with pytest.raises(SystemExit, match="run the same command again"):
        launcher.ensure("start")
    assert launcher.made_for() == {} and not launcher.STAMP.exists()


def test_an_environment_that_fits_is_not_made_again(launcher, tmp_path, monkeypatch):
    launcher.PYTHON.parent.mkdir(parents=True)
    launcher.PYTHON.touch()
    launcher.STAMP.write_text(json.dumps({"start": launcher.fingerprint(launcher.REQUIREMENTS["start"])}))
    monkeypatch.setattr(launcher.subprocess, "run", lambda *a, **k: pytest.fail("installed again"))
    launcher.ensure("start")


def test_a_spoilt_stamp_counts_as_none(launcher):
    launcher.PYTHON.parent.mkdir(parents=True)
    launcher.PYTHON.touch()
    launcher.STAMP.write_text("{half")
    assert launcher.made_for() == {}
