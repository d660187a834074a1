"""The addresses of the pages; names are `<area>:<noun>-<verb>`."""

from django.urls import include, path

from gradation.web.views import (
    bench,
    certificates,
    door,
    equipment,
    intake,
    methods,
    records,
    review,
    settings,
)

_door = [
    path("", door.home, name="home"),
    path("find/", door.find_thing, name="find"),
    path("sign-in/", door.SignIn.as_view(), name="sign-in"),
    path("sign-out/", door.SignOut.as_view(), name="sign-out"),
]

_intake = [
    path("", intake.sample_list, name="sample-list"),
    path("log/", intake.sample_log, name="sample-log"),
    path("samples/<str:number>/", intake.sample_show, name="sample-show"),
    path("samples/<str:number>/change/", intake.sample_change, name="sample-change"),
    path("samples/<str:number>/history/", intake.sample_history, name="sample-history"),
    path("samples/<str:number>/portions/", intake.portion_prepare, name="portion-prepare"),
    path("samples/<str:number>/cancel/", intake.sample_cancel, name="sample-cancel"),
    path("samples/<str:number>/close/", intake.sample_close, name="sample-close"),
    path("samples/<str:number>/dispose/", intake.sample_dispose, name="sample-dispose"),
    path("parties/", settings.customer_list, name="customer-list"),
    path("parties/customers/add/", settings.customer_add, name="customer-add"),
    path("parties/sources/add/", settings.source_add, name="source-add"),
    path("parties/materials/add/", settings.material_add, name="material-add"),
]

_bench = [
    path("", bench.run_queue, name="run-queue"),
    path("pick/", bench.bench_pick, name="bench-pick"),
    path("portions/<str:label>/run/", bench.run_open, name="run-open"),
    path("runs/<int:pk>/", bench.run_weigh, name="run-weigh"),
    path("runs/<int:pk>/figure/", bench.run_figure, name="run-figure"),
    path("runs/<int:pk>/readings/", bench.reading_record, name="reading-record"),
    path(
        "runs/<int:pk>/readings/<str:slot>/<int:position>/correct/",
        bench.reading_correct,
        name="reading-correct",
    ),
    path("runs/<int:pk>/hand-over/", bench.run_submit, name="run-submit"),
]

_review = [
    path("", review.run_queue, name="run-queue"),
    path("runs/<int:pk>/", review.run_review, name="run-review"),
]

_certificates = [
    path("", certificates.certificate_list, name="certificate-list"),
    path("draft/<str:number>/", certificates.certificate_draft, name="certificate-draft"),
    path("<int:pk>/", certificates.certificate_show, name="certificate-show"),
    path("<int:pk>/preview/", certificates.certificate_preview, name="certificate-preview"),
    path("<int:pk>/pdf/", certificates.certificate_pdf, name="certificate-pdf"),
    path("<int:pk>/issue/", certificates.certificate_issue, name="certificate-issue"),
    path("<int:pk>/amend/", certificates.certificate_amend, name="certificate-amend"),
    path("<int:pk>/withdraw/", certificates.certificate_withdraw, name="certificate-withdraw"),
    path("<int:pk>/discard/", certificates.draft_discard, name="draft-discard"),
]

_equipment = [
    path("", equipment.sieve_list, name="sieve-list"),
    path("sieves/register/", equipment.sieve_register, name="sieve-register"),
    path("sieves/<str:serial>/", equipment.sieve_show, name="sieve-show"),
    path("sieves/<str:serial>/check/", equipment.check_record, name="check-record"),
    path("sieves/<str:serial>/out/", equipment.sieve_take_out, name="sieve-take-out"),
    path("sieves/<str:serial>/in/", equipment.sieve_put_back, name="sieve-put-back"),
    path("sieves/<str:serial>/withdraw/", equipment.sieve_withdraw, name="sieve-withdraw"),
    path("nests/", equipment.nest_list, name="nest-list"),
    path("nests/build/", equipment.nest_build, name="nest-build"),
    path("benches/add/", equipment.bench_add, name="bench-add"),
]

_procedures = [
    path("", methods.procedure_list, name="procedure-list"),
    path("add/", methods.procedure_add, name="procedure-add"),
    path("<int:pk>/draft/", methods.procedure_version_draft, name="version-draft"),
    path("versions/<int:pk>/", methods.procedure_version_show, name="version-show"),
    path("versions/<int:pk>/release/", methods.procedure_version_release, name="version-release"),
]

_specifications = [
    path("", methods.specification_list, name="specification-list"),
    path("add/", methods.specification_add, name="specification-add"),
    path("<int:pk>/draft/", methods.specification_version_draft, name="version-draft"),
    path("versions/<int:pk>/", methods.specification_version_show, name="version-show"),
    path(
        "versions/<int:pk>/release/", methods.specification_version_release, name="version-release"
    ),
    path("versions/<int:pk>/end/", methods.specification_version_end, name="version-end"),
]

_records = [path("", records.entry_list, name="entry-list")]

_settings = [
    path("", settings.laboratory_show, name="laboratory-show"),
    path("change/", settings.laboratory_change, name="laboratory-change"),
    path("people/add/", settings.person_add, name="person-add"),
    path("people/<int:pk>/roles/", settings.roles_set, name="roles-set"),
    path("people/<int:pk>/close/", settings.person_deactivate, name="person-deactivate"),
]

urlpatterns = [
    path("", include((_door, "web"))),
    path("intake/", include((_intake, "intake"))),
    path("bench/", include((_bench, "bench"))),
    path("review/", include((_review, "review"))),
    path("certificates/", include((_certificates, "certificates"))),
    path("equipment/", include((_equipment, "equipment"))),
    path("procedures/", include((_procedures, "procedures"))),
    path("specifications/", include((_specifications, "specifications"))),
    path("records/", include((_records, "records"))),
    path("settings/", include((_settings, "settings"))),
]
