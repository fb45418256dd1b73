"""The desk's routes: calls, one call, and the steps of a call. Forms are plain and lead back by GET."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

from flask import Blueprint, Flask, Response, g, make_response, render_template, request
from jinja2 import StrictUndefined
from werkzeug.exceptions import HTTPException

from rules import Expert, InputError, Problem
from rules.enquiry import check_note, fact_from_text
from rules.terms import ROLES, Role, fact_of
from rules.triage import DEFAULT_APPLIANCE
from service.cases.calls import ClosedError, Said
from service.cases.database import DatabaseError
from service.cases.store import Filter, KeyReusedError, NoCaseError, VersionError
from service.desk import knowledge, showing
from service.desk.casework import Asked, Desk, found, new_token, page, recorded, to_case, version_asked
from service.desk.gate import FORM_FIELD, POST, form_token, guard, route, sign_in, sign_out
from service.http.blueprint import Terms
from service.http.case_intake import fact_number, outcome_from, reference_from
from service.http.cases import calls, owner
from service.http.context import HTML, house, marks
from service.intake import appliance_from, source_of
from service.problems import RefusedError
from service.watching import logs

blp = Blueprint("desk", __name__, template_folder="templates")
A_PAGE = 50
ASKED = Terms(scope=None, gives=HTML, query=("ask", "reading", "more"))
STATIC = {"style.css": "text/css", "desk.js": "text/javascript", "icon.svg": "image/svg+xml"}
OPEN_TO_ALL = ("sign_in_page", "signing_in", "style", "script", "icon")
CHANGED = "The call has changed meanwhile, perhaps in another window. Nothing was recorded; look and send it again."
guard(blp, OPEN_TO_ALL)
knowledge.routes(blp)


# --- calls -----------------------------------------------------------------------------------------------------------
@route(blp, "/desk")
def home() -> str:
    """The calls, newest first, and a form for a new one."""
    return _home(Asked())


def _home(asked: Asked) -> str:
    listed, more = calls().store.page(owner(), Filter(), None, A_PAGE)
    return render_template(
        "desk/home.html", cases=listed, more=more is not None, appliances=house().expert.book.appliances, asked=asked
    )


@route(blp, "/desk/cases", terms=POST)
def open_case() -> Response:
    form, expert = request.form, house().expert
    problems: list[Problem] = []
    reference = appliance = None
    text = form.get("text", "").strip() or None
    try:
        reference = reference_from(form.get("reference", "").strip() or None)
        appliance = appliance_from(expert, form.get("appliance") or None)
        if text is not None:
            check_note(text)
        said = Said(text, role=_role())
        return recorded(lambda keeping: calls().open(owner(), reference, appliance, said, keeping))
    except InputError as error:
        problems += error.problems
    return make_response(_home(Asked(text=text or "", problems=problems)), 422)


# --- one call --------------------------------------------------------------------------------------------------------
@route(blp, "/desk/cases/<string:case>", terms=ASKED)
def show_case(case: str) -> Response:
    """``ask`` chooses another question or test, ``reading`` is judged at it, ``more=all`` lists all that there are."""
    given = request.args
    reading = (given.get("reading") or "").strip() or None
    return page(case, Asked(given.get("ask"), reading, more=given.get("more") == "all"))


@route(blp, "/desk/cases/<string:case>/say", terms=POST)
def say(case: str) -> Response:
    """Free text, a picked answer, or a reading that was judged."""
    text = request.form.get("text", "").strip()
    try:
        version = version_asked()
        return recorded(lambda keeping: calls().hear(owner(), found(case), version, _saying(text), keeping))
    except InputError as error:
        problems = [Problem("text" if p.field == "note" else p.field, p.message) for p in error.problems]
        return page(case, Asked(ask=request.form.get("reads"), text=text, problems=problems, status=422))
    except (VersionError, KeyReusedError):
        return _changed(case, text)


def _saying(text: str) -> Callable[[Role], Said]:
    """What the form says, once it is known who speaks. Raises InputError."""
    reads, value = request.form.get("reads", ""), request.form.get("answer")
    if value is None and reads:
        value = showing.picked(text, _choices(reads))
    if value is None:
        said = Said(check_note(text))
        return lambda _: said
    return _telling(reads, value)


def _telling(reads: str, value: str) -> Callable[[Role], Said]:
    """An answer that was picked, as a fact of whoever speaks. Raises InputError."""
    terms = house().expert.book.facts
    told = f"{reads}={showing.with_unit(reads, value, terms)}"
    fact_from_text(told, terms, "caller")
    return lambda role: Said(facts=(fact_from_text(told, terms, source_of(role)),))


def _choices(reads: str) -> tuple[showing.Choice, ...]:
    terms = house().expert.book.facts
    return showing.answers_to(reads, terms)[0] if fact_of(reads) in terms else ()


@route(blp, "/desk/cases/<string:case>/strike", terms=POST)
def strike_fact(case: str) -> Response:
    """A fact that is struck twice is struck; so this asks for no version."""
    number = fact_number(request.form.get("fact", ""))
    return to_case(calls().strike_fact(owner(), found(case), None, number).case.id)


@route(blp, "/desk/cases/<string:case>/correct", terms=POST)
def correct_fact(case: str) -> Response:
    """The new value takes the old one's place, a danger's too."""
    old = fact_number(request.form.get("fact", ""))
    value = request.form.get("value", "").strip()
    try:
        version, saying = version_asked(), _telling(request.form.get("reads", ""), value)
        return recorded(lambda keeping: calls().correct(owner(), found(case), version, old, saying, keeping))
    except InputError as error:
        return page(case, Asked(problems=error.problems, status=422))
    except (VersionError, KeyReusedError):
        return _changed(case, "")


@route(blp, "/desk/cases/<string:case>/role", terms=POST)
def change_speaker(case: str) -> Response:
    """Caller, desk or technician speaks from now on; what is known stays known."""
    role = _role()
    try:
        version = version_asked()
        return recorded(lambda keeping: calls().hear(owner(), found(case), version, lambda _: Said(role=role), keeping))
    except (VersionError, KeyReusedError):
        return _changed(case, "")


@route(blp, "/desk/cases/<string:case>/outcome", terms=POST)
def settle(case: str) -> Response:
    try:
        version, outcome = version_asked(), outcome_from(house().expert, _outcome_given())
        return recorded(lambda keeping: calls().settle(owner(), found(case), version, outcome, keeping))
    except InputError as error:
        return page(case, Asked(problems=error.problems, status=422))
    except (VersionError, KeyReusedError):
        return _changed(case, "")


def _outcome_given() -> dict[str, Any]:
    """The form as the body that the API takes."""
    form = request.form
    given: dict[str, Any] = {"fixed": form.get("fixed") == "yes", "call_back": form.get("call_back") == "yes"}
    fault, _, where = form.get("fault", "").partition("@")
    named = {"fault": fault, "where": where, "found": form.get("found", "").strip()}
    given |= {name: value for name, value in named.items() if value}
    if parts := form.getlist("parts"):
        given["parts"] = parts
    if minutes := form.get("minutes", "").strip():
        try:
            given["minutes"] = float(minutes)
        except ValueError as error:
            raise InputError([Problem("minutes", "write a number of minutes, for example 40")]) from error
    return given


@route(blp, "/desk/cases/<string:case>/reopen", terms=POST)
def reopen(case: str) -> Response:
    return to_case(calls().reopen(owner(), found(case), None).case.id)


def _changed(case: str, text: str) -> Response:
    """The case as it is now, with what was typed; nothing of it was recorded."""
    return page(case, Asked(text=text, notice=CHANGED, status=409))


def _role() -> Role:
    given = request.form.get("role", "desk")
    if given not in ROLES:
        raise InputError([Problem("role", f"write one of {', '.join(ROLES)}")])
    return given


# --- signing in ------------------------------------------------------------------------------------------------------
@route(blp, "/desk/sign-in")
def sign_in_page() -> str:
    return render_template("desk/sign_in.html", keyed=house().settings.keys is not None, refused=False)


@route(blp, "/desk/sign-in", terms=POST)
def signing_in() -> Response:
    response = sign_in(request.form.get("key", "").strip())
    if response is None:
        return make_response(render_template("desk/sign_in.html", keyed=True, refused=True), 403)
    return response


@route(blp, "/desk/sign-out", terms=POST)
def signed_out() -> Response:
    return sign_out()


# --- what pages are made of ------------------------------------------------------------------------------------------
@route(blp, "/desk/style.css", terms=Terms(scope=None, gives=STATIC["style.css"]))
def style() -> Response:
    return _static("style.css")


@route(blp, "/desk/desk.js", terms=Terms(scope=None, gives=STATIC["desk.js"]))
def script() -> Response:
    return _static("desk.js")


@route(blp, "/desk/icon.svg", terms=Terms(scope=None, gives=STATIC["icon.svg"]))
def icon() -> Response:
    return _static("icon.svg")


def _static(name: str) -> Response:
    with blp.open_resource(f"static/{name}") as file:
        response = Response(file.read(), content_type=f"{STATIC[name]}; charset=utf-8")
    response.add_etag()
    response.headers["Cache-Control"] = "no-cache"
    response.make_conditional(request)
    return response


@blp.context_processor
def in_every_page() -> dict[str, Any]:
    return {
        "signed_in": g.get("signed_in"),
        "book_version": house().expert.book.version,
        "form_token": form_token,
        "form_field": FORM_FIELD,
        "new_token": new_token,
    }


# --- refusals --------------------------------------------------------------------------------------------------------
def refused(title: str, told: str, status: int, problems: tuple[str, ...] = ()) -> Response:
    """An error as a page."""
    return make_response(render_template("desk/error.html", title=title, told=told, problems=problems), status)


@blp.errorhandler(NoCaseError)
def no_case(_: NoCaseError) -> Response:
    return refused("No such call", "There is no call at this address, or it belongs to another key.", 404)


@blp.errorhandler(ClosedError)
def closed(_: ClosedError) -> Response:
    return refused("The call is closed", "Open it again on its page to add to it; an erased one stays closed.", 409)


@blp.errorhandler(DatabaseError)
def no_database(error: DatabaseError) -> Response:
    logs.LOGGER.error("the database cannot be used", extra={"told": {"error": str(error)}})
    return refused("Calls cannot be reached", "The log says why. Nothing was changed; try again in a moment.", 503)


@blp.errorhandler(InputError)
def wrong_input(error: InputError) -> Response:
    return refused("This cannot be used", "Nothing was recorded.", 422, tuple(map(str, error.problems)))


@blp.errorhandler(RefusedError)
def on_refusal(error: RefusedError) -> Response:
    told = tuple(": ".join(map(str, entry.values())) for entry in error.errors)
    response = refused(error.kind.title, error.detail, error.kind.status, told)
    response.headers.update({k: v for k, v in error.headers.items() if k == "Retry-After"})
    return response


@blp.errorhandler(HTTPException)
def on_http_exception(error: HTTPException) -> Response:
    if error.response is not None:
        return cast(Response, error.response)
    if (error.code or 500) >= 500:
        route_asked = request.url_rule.rule if request.url_rule is not None else "none"
        logs.failed(marks(), route_asked, getattr(error, "original_exception", None) or error)
    return refused(error.name, error.description or "", error.code or 500)


def install(app: Flask, expert: Expert) -> None:
    """Hang the desk on the application."""
    app.jinja_env.undefined = StrictUndefined
    app.extensions["coldleg-desk"] = Desk(expert)
    app.register_blueprint(blp)


def warm(app: Flask) -> None:
    """Work the common appliance's circuits through before the first page asks for them."""
    kept: Desk = app.extensions["coldleg-desk"]
    kept.tracer.trace(kept.tracer.expert.book.appliances[DEFAULT_APPLIANCE], [])
