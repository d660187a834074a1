"""Nests: what stands together for a procedure, whether it is fit for use, and the benches."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.models import Bench, Nest, ProcedureVersion
from gradation.policy import Action
from gradation.queries import equipment as known
from gradation.queries import equipment_file as file
from gradation.queries.methods import procedure_version, released_procedures
from gradation.science.apertures import designation
from gradation.services import clock, upkeep
from gradation.web import lists
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.context import laboratory_of
from gradation.web.forms.equipment import BenchForm, NestForm, SieveOffer, SizeOffer
from gradation.web.forms.intake import ReasonForm
from gradation.web.nest_drawing import NestShown, nests_shown
from gradation.web.shelf import tag_of
from gradation.web.templatetags.notebook import plain


@page()
def nest_list(request: PersonRequest) -> HttpResponse:
    """List the nests with whether they are fit for use today, and the benches."""
    today = clock.today(laboratory_of(request))
    nests: list[NestShown] = nests_shown(known.nest_states(known.nest_list(), today))
    context = {"nests": nests, "benches": known.bench_list()}
    return render(request, "web/equipment/nest_list.html", context)


@page(Action.KEEP_EQUIPMENT)
def nest_build(request: PersonRequest) -> HttpResponse:
    """Build a nest for a procedure: its sieves picked size by size, or scanned."""
    key = lists.key_in(request, "procedure")
    if key is None:
        context = {"versions": released_procedures()}
        return render(request, "web/equipment/nest_begin.html", context)
    version = found(procedure_version(key), "released procedure under that number")
    form = NestForm(_offers(request, version), sent(request))
    back = reverse("equipment:nest-list")
    asking = Asking(f"Build a nest for {version}", "Build the nest", back)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: upkeep.build_nest(
                actor=request.user,
                name=form.cleaned_data["name"],
                procedure=version.procedure,
                sieves=form.sieves,
                bench=form.cleaned_data["bench"],
            ),
            lambda _: back,
            lambda nest: f"Nest {nest} is built.",
        )
    )


def _offers(request: PersonRequest, version: ProcedureVersion) -> list[SizeOffer]:
    """Say of each sieve that could take a place its frame and where its check stands."""
    return [
        SizeOffer(
            designation(size.aperture_um),
            tuple(
                SieveOffer(
                    sieve.serial,
                    f"{sieve.serial} · frame {plain(sieve.frame_diameter_mm)} mm · "
                    f"{tag_of(request, sieve).words}",
                )
                for sieve in size.sieves
            ),
        )
        for size in file.sieves_for(version)
    ]


@page(Action.KEEP_EQUIPMENT)
def nest_retire(request: PersonRequest, pk: int) -> HttpResponse:
    """Take a nest apart, with a reason; runs made on it keep its name."""
    nest: Nest = found(known.nest_list().filter(pk=pk).first(), "nest under that number")
    form = ReasonForm(sent(request))
    back = reverse("equipment:nest-list")
    asking = Asking(f"Take nest {nest} apart", "Take it apart", back, grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: upkeep.retire_nest(
                actor=request.user, nest=nest, reason=form.cleaned_data["reason"]
            ),
            lambda _: back,
            lambda _: f"Nest {nest} is taken apart.",
        )
    )


@page(Action.KEEP_EQUIPMENT)
def bench_add(request: PersonRequest) -> HttpResponse:
    """Add a bench."""
    form = BenchForm(sent(request))
    asking = Asking("Add a bench", "Add the bench", reverse("equipment:nest-list"))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: upkeep.add_bench(actor=request.user, bench=form.bench()),
            lambda bench: reverse("equipment:nest-list"),
            lambda bench: f"{bench} is added.",
        )
    )


@page(Action.KEEP_EQUIPMENT)
def bench_retire(request: PersonRequest, pk: int) -> HttpResponse:
    """Give a bench up, with a reason; runs made at it keep its name."""
    bench: Bench = found(known.bench_list().filter(pk=pk).first(), "bench under that number")
    form = ReasonForm(sent(request))
    back = reverse("equipment:nest-list")
    asking = Asking(f"Give {bench} up", "Give it up", back, grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: upkeep.retire_bench(
                actor=request.user, bench=bench, reason=form.cleaned_data["reason"]
            ),
            lambda _: back,
            lambda _: f"{bench} is given up.",
        )
    )
