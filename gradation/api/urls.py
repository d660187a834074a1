"""Addresses of the REST interface."""

from django.urls import path

from gradation.api import views

app_name = "api"

urlpatterns = [
    path("gradations", views.Gradations.as_view(), name="gradations"),
    path("samples", views.Samples.as_view(), name="samples"),
    path("samples/<str:number>", views.OneSample.as_view(), name="sample"),
    path("runs/<int:pk>", views.OneRun.as_view(), name="run"),
    path("certificates/<str:number>", views.OneCertificate.as_view(), name="certificate"),
    path("certificates/<str:number>/pdf", views.CertificateFile.as_view(), name="certificate-pdf"),
]
