"""The HTTP service: one Flask application around one open book."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Flask
from flask_smorest import Api
from werkzeug.exceptions import HTTPException

from rules import Expert, InputError
from service.cases.calls import ClosedError
from service.cases.database import DatabaseError
from service.cases.store import KeyReusedError, NoCaseError, VersionError
from service.desk import pages
from service.http import batch, cases, catalogue, docs, guards, health, readings, refusing, spec, triage
from service.http.context import House
from service.problems import RefusedError
from service.settings import Settings

ROUTES = (triage.blp, batch.blp, cases.blp, readings.blp, catalogue.blp, health.blp, docs.blp)


class _App(Flask):
    """Flask whose routes are all plain functions, so that no call need be asked whether it is a coroutine."""

    def ensure_sync(self, func: Callable[..., Any]) -> Callable[..., Any]:
        return func


class _Api(Api):  # type: ignore[misc]  # flask-smorest has no types
    """flask-smorest, with problems for errors."""

    ERROR_SCHEMA = spec.ErrorSchema

    def _register_error_handlers(self) -> None:
        self._app.register_error_handler(HTTPException, refusing.on_http_exception)
        self._app.register_error_handler(RefusedError, refusing.on_refusal)
        self._app.register_error_handler(InputError, refusing.on_input_error)
        self._app.register_error_handler(NoCaseError, refusing.on_no_case)
        self._app.register_error_handler(VersionError, refusing.on_other_version)
        self._app.register_error_handler(ClosedError, refusing.on_closed)
        self._app.register_error_handler(KeyReusedError, refusing.on_other_request)
        self._app.register_error_handler(DatabaseError, refusing.on_no_database)


def create_app(expert: Expert, settings: Settings | None = None) -> Flask:
    """The application. ``expert`` is opened before the first request, never in one."""
    settings = settings or Settings()
    app = _App("coldleg", static_folder=None)
    app.url_map.strict_slashes = False
    app.url_map.redirect_defaults = False
    app.url_map.merge_slashes = False
    app.config.update(spec.options(), MAX_CONTENT_LENGTH=settings.largest_body)
    app.extensions["coldleg"] = House(expert, settings)
    guards.guard(app)
    api = _Api(app)
    spec.register(api)
    for routes in ROUTES:
        api.register_blueprint(routes)
    pages.install(app, expert)
    app.extensions["coldleg-openapi"] = spec.lazily(api)
    return app
