"""gunicorn around the application: limits, workers, graceful reload and stop."""

from __future__ import annotations

import ipaddress
import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gunicorn.app.base import BaseApplication
from gunicorn.glogging import Logger

from rules import BookError, Expert
from service.keys import KeyStore
from service.ratelimit import RateLimiter
from service.settings import LOOPBACK_NAMES, Settings
from service.sparing import settle
from service.watching import logs
from service.watching.records import Recorder

if TYPE_CHECKING:
    from flask import Flask

    from service.cases.store import Store

METRICS_VARIABLE = "PROMETHEUS_MULTIPROC_DIR"
HEADER_LIMITS = {"limit_request_line": 4094, "limit_request_fields": 50, "limit_request_field_size": 8190}


class NotLoopbackError(ValueError):
    """An address that other machines can reach, and no API key to keep them out."""


@dataclass(frozen=True)
class Serving:
    """Where and how to serve. ``keys``: the keys' file; ``hosts``: further names for the Host header."""

    host: str = "127.0.0.1"
    port: int = 8017
    workers: int = 1
    threads: int = 4
    keys: Path | None = None
    hosts: tuple[str, ...] = ()
    records: Path | None = None
    record_notes: bool = False
    log_level: str = "info"


def serve(book: Callable[[], Expert], serving: Serving, store: Store | None = None) -> None:
    """Run until stopped. ``book`` opens the book, before the first request and again on SIGHUP.
    ``store`` is that of the cases.

    Raises NotLoopbackError for an address other machines can reach while no API key exists, InputError for a keys'
    file that cannot be read, BookError.
    """
    keys = KeyStore(serving.keys) if serving.keys is not None else None
    guarded = keys is not None and keys.active()
    if not guarded and not _is_loopback(serving.host):
        raise NotLoopbackError(
            f"{serving.host} can be reached from other machines and there is no API key; make one with "
            "coldleg keys add NAME, or write 127.0.0.1, ::1 or localhost"
        )
    master = os.getpid()
    counts = Path(tempfile.mkdtemp(prefix="coldleg-counts-"))
    os.environ[METRICS_VARIABLE] = str(counts)  # before prometheus_client is imported
    logs.set_up(serving.log_level)
    settings = Settings(
        hosts=tuple(dict.fromkeys((*LOOPBACK_NAMES, _as_host(serving.host), *map(str.lower, serving.hosts)))),
        any_address=not _is_loopback(serving.host),
        keys=keys if guarded else None,
        limiter=RateLimiter() if guarded else None,
        recorder=Recorder(serving.records, serving.record_notes) if serving.records else None,
        metrics=counts,
        store=store,
    )

    def retired(_arbiter: object, worker: Any) -> None:
        from service.watching import metrics

        metrics.retire(counts, worker.pid)

    try:
        _Server(book, settings, {**options_for(serving), "child_exit": retired}).run()
    finally:
        if os.getpid() == master:  # a worker leaves through here, too
            os.environ.pop(METRICS_VARIABLE, None)
            shutil.rmtree(counts, ignore_errors=True)


def options_for(serving: Serving) -> dict[str, Any]:
    return {
        "bind": f"{_as_host(serving.host)}:{serving.port}",
        "workers": serving.workers,
        "threads": serving.threads,
        "worker_class": "service.worker.Worker",
        "preload_app": True,
        "timeout": 30,
        "graceful_timeout": 30,
        "keepalive": 5,
        "proc_name": "coldleg",
        "loglevel": serving.log_level,
        "logger_class": _JsonLogger,
        "control_socket_disable": True,
        **HEADER_LIMITS,
    }


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _as_host(host: str) -> str:
    return f"[{host}]" if ":" in host else host


class _JsonLogger(Logger):  # type: ignore[misc]  # gunicorn has no types
    """gunicorn's own lines in the same form as ours; its access log is off, ours has the request's ids."""

    def setup(self, cfg: Any) -> None:
        super().setup(cfg)
        for handler in self.error_log.handlers:
            handler.setFormatter(logs.JsonFormatter())


class _Server(BaseApplication):  # type: ignore[misc]  # gunicorn has no types
    """gunicorn's application hook with our options and no configuration file."""

    def __init__(self, book: Callable[[], Expert], settings: Settings, options: dict[str, Any]) -> None:
        self.book, self.settings, self.options = book, settings, options
        super().__init__()

    def load_config(self) -> None:
        for name, value in self.options.items():
            self.cfg.set(name, value)

    def load(self) -> Flask:
        return _application(self.book(), self.settings)

    def reload(self) -> None:
        """On SIGHUP: open the book anew; new workers get it. One that cannot be used changes nothing."""
        super().reload()
        try:
            made = self.load()
        except BookError as error:
            told = {"problems": error.problems[:20]}
            logs.LOGGER.error("the book cannot be used; the one that is open stays", extra={"told": told})
            return
        except Exception as error:  # a defect in loading must not end a service that answers
            logs.LOGGER.error("the book cannot be opened; the one that is open stays", exc_info=error)
            return
        self.callable = made


def _application(expert: Expert, settings: Settings) -> Flask:
    """The application, with one case worked through, so that tables are built before the workers share them."""
    from rules import triage
    from service.app import create_app
    from service.desk import pages
    from service.http.health import SELF_TEST

    triage(expert, SELF_TEST)
    app = create_app(expert, settings)
    pages.warm(app)
    settle()
    return app
