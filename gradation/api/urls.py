"""Addresses of the REST interface."""

from django.urls import path

from gradation.api import equipment, runs, views

app_name = "api"

urlpatterns = [
    path("gradations", views.Gradations.as_view(), name="gradations"),
    path("samples", views.Samples.as_view(), name="samples"),
    path("samples/<str:number>", views.OneSample.as_view(), name="sample"),
    path("runs", runs.Runs.as_view(), name="runs"),
    path("runs/<int:pk>", views.OneRun.as_view(), name="run"),
    path("certificates/<str:number>", views.OneCertificate.as_view(), name="certificate"),
    path("certificates/<str:number>/pdf", views.CertificateFile.as_view(), name="certificate-pdf"),
    path("sieves", equipment.Sieves.as_view(), name="sieves"),
    path("sieves/<path:serial>", equipment.OneSieve.as_view(), name="sieve"),
    path("instruments", equipment.Instruments.as_view(), name="instruments"),
    path("instruments/<path:serial>", equipment.OneInstrument.as_view(), name="instrument"),
    path("equipment/<path:serial>/checks", equipment.Checks.as_view(), name="checks"),
    path("nests", equipment.Nests.as_view(), name="nests"),
    path("due", equipment.DueList.as_view(), name="due"),
]
