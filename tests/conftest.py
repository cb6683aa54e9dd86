"""What every test stands on: quick passwords, jobs at once, files of its own."""

from __future__ import annotations

import os
from collections.abc import Iterator

# Playwright keeps an event loop running; Django's database calls in later tests would refuse to run beside it.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

import pytest
from django.test import Client
from playwright.sync_api import Playwright, sync_playwright

from media.base.models import Role
from tests import builders


@pytest.fixture(autouse=True)
def own_surroundings(settings, tmp_path):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.MEDIA_ROOT = tmp_path / "photographs"
    settings.UPLOADS = tmp_path / "uploads"
    settings.CELERY_TASK_ALWAYS_EAGER = True
    from config.celery import app

    app.conf.task_always_eager = True
    yield
    app.conf.task_always_eager = False


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """One for the whole process: a second cannot be begun beside the first's event loop."""
    with sync_playwright() as begun:
        yield begun


def _signed_in(role: str) -> Client:
    client = Client()
    client.force_login(builders.a_person(role=role))
    return client


@pytest.fixture
def reader(db) -> Client:
    return _signed_in(Role.READER)


@pytest.fixture
def surveyor(db) -> Client:
    return _signed_in(Role.SURVEYOR)


@pytest.fixture
def conservator(db) -> Client:
    return _signed_in(Role.CONSERVATOR)


@pytest.fixture
def head(db) -> Client:
    return _signed_in(Role.HEAD)
