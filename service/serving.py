"""gunicorn around the application, on the loopback interface."""

from __future__ import annotations

import ipaddress
from collections.abc import Callable
from typing import Any

from flask import Flask
from gunicorn.app.base import BaseApplication

from rules import Enquiry, Expert, triage
from service.app import create_app


class NotLoopbackError(ValueError):
    """An address that other machines can reach."""


def serve(expert: Callable[[], Expert], *, host: str, port: int, workers: int, threads: int) -> None:
    """Run until stopped. The book is opened, and one case worked through, before the first request is taken.

    Raises NotLoopbackError for any address but this machine's own.
    """
    if not _is_loopback(host):
        raise NotLoopbackError(f"{host} can be reached from other machines; write 127.0.0.1, ::1 or localhost")
    opened = expert()
    address = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
    options = {
        "bind": address,
        "workers": workers,
        "threads": threads,
        "worker_class": "gthread",
        "timeout": 30,
        "graceful_timeout": 20,
        "keepalive": 5,
        "proc_name": "coldleg",
        "limit_request_line": 4094,
        "limit_request_fields": 50,
        "limit_request_field_size": 8190,
    }
    _Server(opened, options).run()


def warmed(expert: Expert) -> Expert:
    """Work through one case, so that tables and engine are built."""
    triage(expert, Enquiry(note="the oven is cold but the clock is on"))
    return expert


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


class _Server(BaseApplication):  # type: ignore[misc]  # gunicorn has no types
    """gunicorn's application hook with our options and no configuration file."""

    def __init__(self, expert: Expert, options: dict[str, Any]) -> None:
        self.expert, self.options = expert, options
        super().__init__()

    def load_config(self) -> None:
        for name, value in self.options.items():
            self.cfg.set(name, value)

    def load(self) -> Flask:
        return create_app(warmed(self.expert))
