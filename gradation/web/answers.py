"""How a page answers: a form is shown, acted on, or shown again with what was wrong beside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import wraps
from typing import Any, Generic, TypeVar

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import redirect, render

from gradation.errors import NotFound, Refusal
from gradation.models import User
from gradation.policy import Action, require
from gradation.web.forms.base import NotebookForm


class PersonRequest(HttpRequest):
    """A request of somebody who has signed in: `page` lets no other through."""

    user: User


View = Callable[..., HttpResponseBase]
Row = TypeVar("Row")


def page(action: Action = Action.READ_RECORDS) -> Callable[[View], View]:
    """Let only signed-in people whose roles include the act reach a view."""

    def wrap(view: View) -> View:
        @wraps(view)
        def inner(request: PersonRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            require(request.user, action)
            return view(request, *args, **kwargs)

        return login_required(inner)

    return wrap


@dataclass(frozen=True)
class Asking:
    """The words of a page that asks for one thing to be filled in."""

    heading: str
    button: str
    back: str
    intro: str = ""
    grave: bool = False


@dataclass(frozen=True)
class Doing(Generic[Row]):
    """What a sent form does, where the person goes then, and what it says was done."""

    act: Callable[[], Row]
    goes_to: Callable[[Row], str]
    says: Callable[[Row], str]


@dataclass(frozen=True)
class FormPage:
    """A form on its page."""

    request: HttpRequest
    form: NotebookForm
    asking: Asking | None = None
    template: str = "web/form.html"
    context: dict[str, Any] = field(default_factory=dict)

    def answer(self, doing: Doing[Any]) -> HttpResponse:
        """Act on a sent form and go on; otherwise show it, with its faults if it had any."""
        if self.request.method == "POST" and self.form.is_valid():
            try:
                row = doing.act()
            except Refusal as refusal:
                self.form.take(refusal)
            else:
                messages.info(self.request, doing.says(row))
                return redirect(doing.goes_to(row))
        return self.show()

    def show(self) -> HttpResponse:
        """Render the page; a refused form answers 422 with everything typed still in it."""
        status = 422 if self.form.is_bound and self.form.errors else 200
        shown = {"form": self.form, "asking": self.asking, **self.context}
        return render(self.request, self.template, shown, status=status)


def sent(request: HttpRequest) -> QueryDict | None:
    """Give a form its data: what was posted, or nothing."""
    return request.POST if request.method == "POST" else None


def found(row: Row | None, what: str) -> Row:
    """Give the row back, or answer that there is no such thing."""
    if row is None:
        msg = f"There is no {what} here. Check the number, or search for it above."
        raise NotFound(msg)
    return row


def said(request: HttpRequest, words: str) -> None:
    """Keep a sentence about what was just done for the next page."""
    messages.info(request, words)
