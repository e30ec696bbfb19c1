"""Logging in and out, and the shop's users."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request, Response
from fastapi.responses import RedirectResponse

from ...quantities.errors import BadInput, NotAllowed, NotLoggedIn, status_of
from ...workshop.people import LOGIN_HOURS, ROLES
from ..access import COOKIE, Who, allowed
from ..contract.problem import for_programs, refusal
from ..deps import people_of
from ..page import Text, by_script, fault_page, goto, page


async def refuse_access(request: Request, fault: Exception) -> Response:
    """Answer `NotAllowed`: a page goes to the login, a program gets JSON."""
    assert isinstance(fault, NotAllowed)
    logged_in = not isinstance(fault, NotLoggedIn)
    if for_programs(request.scope) or (logged_in and by_script(request)):
        return refusal(request.scope, fault)
    if not logged_in:
        if by_script(request):
            return Response(status_code=401, headers={"HX-Redirect": "/login"})
        return RedirectResponse("/login", 303)
    return fault_page(request, fault, status_of(fault))


router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/login")
def login_page(request: Request) -> Response:
    """The login."""
    return page(request, "people/login.html")


@router.post("/login")
def log_in(
    request: Request, name: Annotated[str, Form()] = "", password: Annotated[str, Form()] = ""
) -> Response:
    """Log in; the token goes into a cookie that no script can read."""
    people = people_of(request)
    try:
        token = people.log_in(name, password, where=address_of(request))
    except BadInput as fault:
        return page(request, "people/login.html", {"fault": fault, "name": name}, status=422)
    return entered(request, token)


def address_of(request: Request) -> str:
    """Return the address that asks: a proxy's word for it only where the proxy was named at the start."""
    return request.client.host if request.client else ""


def entered(request: Request, token: str) -> Response:
    """Answer a login: its token goes into a cookie that no script can read."""
    answer = RedirectResponse("/", 303)
    answer.set_cookie(
        COOKIE,
        token,
        max_age=round(3600 * LOGIN_HOURS),
        httponly=True,
        samesite="strict",
        secure=over_tls(request),
    )
    return answer


@router.get("/switch")
def switch_page(request: Request) -> Response:
    """Who takes over the bench."""
    return _switch(request)


@router.post("/switch")
def switch(request: Request, name: Text = "", pin: Text = "") -> Response:
    """Take over the bench by a pin."""
    people = people_of(request)
    try:
        before = request.cookies.get(COOKIE, "")
        token = people.take_over(name, pin, token=before, where=address_of(request))
    except BadInput as fault:
        return _switch(request, fault=fault, name=name)
    return entered(request, token)


@router.post("/pin")
def set_pin(request: Request, who: Who, pin: Text = "") -> Response:
    """Give oneself a pin, or end it."""
    try:
        people_of(request).set_pin(who, pin)
    except BadInput as fault:
        return _switch(request, fault=fault)
    return goto("/switch")


def _switch(request: Request, **values: object) -> Response:
    values |= {"names": people_of(request).with_pins()}
    return page(request, "people/switch.html", values, status=422 if "fault" in values else 200)


def over_tls(request: Request) -> bool:
    """Return whether the page came over TLS: the cookie is then Secure."""
    return request.url.scheme == "https"


@router.post("/logout")
def log_out(request: Request) -> Response:
    """Log out."""
    people = people_of(request)
    people.log_out(request.cookies.get(COOKIE, ""))
    answer = RedirectResponse("/login", 303)
    answer.delete_cookie(COOKIE)
    return answer


@router.get("/users")
def users(request: Request) -> Response:
    """The users, and a form for a new one or a new password."""
    return _users(request)


@router.post("/users")
def set_user(
    request: Request, who: Who, name: Text = "", role: Text = "", password: Text = ""
) -> Response:
    """Add a user or give one a new password."""
    try:
        people_of(request).set_user(name, role, password, by=who.name)
    except BadInput as fault:
        return _users(request, fault=fault, name=name, role=role)
    return goto("/users")


@router.post("/users/end")
def end_user(request: Request, who: Who, name: Text = "") -> Response:
    """End an account."""
    try:
        people_of(request).end_user(name, by=who.name)
    except BadInput as fault:
        return _users(request, fault=fault)
    return goto("/users")


def _users(request: Request, **values: object) -> Response:
    values |= {"users": people_of(request).users(), "roles": ROLES}
    return page(request, "people/users.html", values, status=422 if "fault" in values else 200)
