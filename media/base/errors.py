"""Errors that a person reads: what happened, what is safe, what to do."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus
from typing import ClassVar

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


class FettleError(Exception):
    """A refusal in one clear line; the page shows exactly that line."""

    status: ClassVar[int] = HTTPStatus.BAD_REQUEST

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


class NotThere(FettleError):
    """The thing asked for does not exist."""

    status = HTTPStatus.NOT_FOUND


class Clash(FettleError):
    """The thing has changed or is frozen, so this change was not made."""

    status = HTTPStatus.CONFLICT


class BadCursor(FettleError):
    """A paging address that this list did not make."""

    def __init__(self) -> None:
        super().__init__("This page address is not one of this list's. Start again from the top of the list.")


class ErrorPages:
    """Middleware: a ``FettleError`` becomes a page (or a part for htmx) with its own line and status."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if not isinstance(error, FettleError):
            return None
        return render(request, "error.html", {"error": error}, status=error.status)
