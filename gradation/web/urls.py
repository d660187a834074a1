"""The addresses of the pages; names are `<area>:<noun>-<verb>`."""

from django.urls import include, path

from gradation.web import serials  # noqa: F401 - declares <serial:...>
from gradation.web.views import (
    bench,
    certificates,
    door,
    equipment,
    equipment_checks,
    equipment_due,
    equipment_import,
    equipment_instruments,
    equipment_items,
    equipment_labels,
    equipment_nests,
    impact,
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
    path("samples/<str:number>/labels/", intake.label_print, name="label-print"),
    path("samples/<str:number>/portions/", intake.portion_prepare, name="portion-prepare"),
    path("samples/<str:number>/cancel/", intake.sample_cancel, name="sample-cancel"),
    path("samples/<str:number>/close/", intake.sample_close, name="sample-close"),
    path("samples/<str:number>/dispose/", intake.sample_dispose, name="sample-dispose"),
    path("parties/", settings.customer_list, name="customer-list"),
    path("parties/customers/add/", settings.customer_add, name="customer-add"),
    path("parties/customers/<int:pk>/", settings.customer_change, name="customer-change"),
    path("parties/sources/add/", settings.source_add, name="source-add"),
    path("parties/sources/<int:pk>/", settings.source_change, name="source-change"),
    path("parties/materials/add/", settings.material_add, name="material-add"),
    path("parties/materials/<int:pk>/", settings.material_change, name="material-change"),
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
    path("", equipment.due_list, name="due-list"),
    path("due.ics", equipment_due.due_calendar, name="due-calendar"),
    path("feed/<str:token>/due.ics", equipment_due.due_feed, name="due-feed"),
    path("labels/", equipment_labels.label_sheet, name="label-sheet"),
    path("sieves/", equipment.sieve_list, name="sieve-list"),
    path("sieves/register/", equipment.sieve_register, name="sieve-register"),
    path("sieves/import/", equipment_import.sieve_import, name="sieve-import"),
    path("sieves/import/empty.csv", equipment_import.import_template, name="import-template"),
    path("sieves/wear/", equipment.wear_list, name="wear-list"),
    path("sieves/suspects/", equipment.suspect_list, name="suspect-list"),
    path("sieves/card/<serial:serial>/", equipment.sieve_show, name="sieve-show"),
    path("instruments/", equipment_instruments.instrument_list, name="instrument-list"),
    path(
        "instruments/register/<str:kind>/",
        equipment_instruments.instrument_register,
        name="instrument-register",
    ),
    path(
        "instruments/card/<serial:serial>/",
        equipment_instruments.instrument_show,
        name="instrument-show",
    ),
    path("reference/", equipment_instruments.lot_list, name="lot-list"),
    path("reference/register/", equipment_instruments.lot_register, name="lot-register"),
    path("reference/<int:pk>/retire/", equipment_instruments.lot_retire, name="lot-retire"),
    path("nests/", equipment_nests.nest_list, name="nest-list"),
    path("nests/build/", equipment_nests.nest_build, name="nest-build"),
    path("nests/<int:pk>/retire/", equipment_nests.nest_retire, name="nest-retire"),
    path("benches/add/", equipment_nests.bench_add, name="bench-add"),
    path("benches/<int:pk>/retire/", equipment_nests.bench_retire, name="bench-retire"),
    path("items/<serial:serial>/", equipment_items.item_show, name="item-show"),
    path("items/<serial:serial>/change/", equipment_items.item_change, name="item-change"),
    path("items/<serial:serial>/rule/", equipment_items.rule_set, name="rule-set"),
    path("items/<serial:serial>/out/", equipment_items.item_take_out, name="item-take-out"),
    path("items/<serial:serial>/in/", equipment_items.item_put_back, name="item-put-back"),
    path("items/<serial:serial>/withdraw/", equipment_items.item_withdraw, name="item-withdraw"),
    path("items/<serial:serial>/tare/", equipment_items.tare_weigh, name="tare-weigh"),
    path("items/<serial:serial>/label/", equipment_labels.item_label, name="item-label"),
    path("items/<serial:serial>/files/add/", equipment_items.file_add, name="file-add"),
    path("items/<serial:serial>/files/<int:pk>/", equipment_items.file_show, name="file-show"),
    path("items/<serial:serial>/check/", equipment_checks.check_begin, name="check-begin"),
    path(
        "items/<serial:serial>/check/<str:kind>/",
        equipment_checks.check_record,
        name="check-record",
    ),
    path("items/<serial:serial>/checks/<int:pk>/", equipment_checks.check_show, name="check-show"),
    path("impact/", impact.assessment_list, name="impact-list"),
    path("impact/open/", impact.assessment_open, name="impact-open"),
    path("impact/<int:pk>/", impact.assessment_show, name="impact-show"),
    path("impact/<int:pk>/close/", impact.assessment_close, name="impact-close"),
    path("impact/<int:pk>/pdf/", impact.assessment_pdf, name="impact-pdf"),
    path("impact/<int:pk>/<str:rows>.csv", impact.assessment_csv, name="impact-csv"),
    path(
        "impact/<int:pk>/certificates/<int:certificate>/",
        impact.assessment_decide,
        name="impact-decide",
    ),
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
