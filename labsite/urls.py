"""The addresses of the site: pages at the root, the interface under api/v1/."""

from django.urls import include, path

urlpatterns = [
    path("api/v1/", include("gradation.api.urls")),
    path("", include("gradation.web.urls")),
]

handler500 = "labsite.faults.broken"
