"""The addresses of the pages; names are `<area>:<noun>-<verb>`."""

from django.urls import include, path

from gradation.web import serials  # noqa: F401 - declares <serial:...>
from gradation.web.views import (
    balances,
    bench,
    bench_balance,
    bench_exchange,
    blend,
    certificates,
    charts,
    compare,
    determinations,
    door,
    dryings,
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
    preparation,
    procedure_library,
    records,
    review,
    run_checks,
    run_content,
    run_findings,
    run_import,
    settings,
    specifications,
    studies,
    tokens,
    verdicts,
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
    path(
        "samples/<str:number>/determinations/",
        determinations.determination_list,
        name="determination-list",
    ),
    path("samples/<str:number>/history/", intake.sample_history, name="sample-history"),
    path("samples/<str:number>/labels/", intake.label_print, name="label-print"),
    path("samples/<str:number>/portions/", preparation.portion_prepare, name="portion-prepare"),
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
    path("benches/<int:pk>/place/", bench_balance.place_name, name="place-name"),
    path("benches/<int:pk>/line/", bench_balance.balance_line, name="balance-line"),
    path("benches/<int:pk>/waiting/", bench_balance.balance_waiting, name="balance-waiting"),
    path("waiting/<int:pk>/take/", bench_balance.waiting_take, name="waiting-take"),
    path("waiting/<int:pk>/aside/", bench_balance.waiting_set_aside, name="waiting-set-aside"),
    path("pick/", bench.bench_pick, name="bench-pick"),
    path("portions/<str:label>/", preparation.portion_show, name="portion-show"),
    path("portions/<str:label>/divide/", preparation.portion_divide, name="portion-divide"),
    path(
        "portions/<str:label>/as-received/",
        preparation.portion_as_received,
        name="portion-as-received",
    ),
    path("portions/<str:label>/dry/", dryings.drying_begin, name="drying-begin"),
    path("portions/<str:label>/run/", bench.run_open, name="run-open"),
    path("dryings/", dryings.drying_list, name="drying-list"),
    path("dryings/<int:pk>/", dryings.drying_show, name="drying-show"),
    path("dryings/<int:pk>/masses/", dryings.drying_weigh, name="drying-weigh"),
    path(
        "dryings/<int:pk>/masses/<int:number>/correct/",
        dryings.drying_correct,
        name="drying-correct",
    ),
    path("dryings/<int:pk>/end/", dryings.drying_end, name="drying-end"),
    path("dryings/<int:pk>/runs/<int:run>/", dryings.dry_mass_take, name="dry-mass-take"),
    path("runs/<int:pk>/dry/", dryings.drying_again, name="drying-again"),
    path("runs/<int:pk>/", bench.run_weigh, name="run-weigh"),
    path("runs/<int:pk>/figure/", bench.run_figure, name="run-figure"),
    path("person/", bench_exchange.person_show, name="person-show"),
    path("codes/", bench_exchange.code_find, name="code-find"),
    path("runs/<int:pk>/readings/", bench_exchange.reading_record, name="reading-record"),
    path("runs/<int:pk>/changes/", bench_exchange.run_changes, name="run-changes"),
    path(
        "runs/<int:pk>/readings/<str:slot>/<int:position>/correct/",
        bench.reading_correct,
        name="reading-correct",
    ),
    path(
        "runs/<int:pk>/readings/<str:slot>/<int:position>/<int:increment>/correct/",
        bench.reading_correct,
        name="reading-correct",
    ),
    path(
        "runs/<int:pk>/readings/<str:slot>/<int:position>/<int:increment>/again/",
        run_content.reading_again,
        name="reading-again",
    ),
    path(
        "runs/<int:pk>/readings/<str:slot>/<int:position>/<int:increment>/add/",
        run_content.increment_add,
        name="increment-add",
    ),
    path("runs/<int:pk>/shakings/", run_content.shaking_record, name="shaking-record"),
    path(
        "runs/<int:pk>/shakings/<int:number>/correct/",
        run_content.shaking_correct,
        name="shaking-correct",
    ),
    path("runs/<int:pk>/handling/", run_content.handling_record, name="handling-record"),
    path("runs/<int:pk>/split/", run_content.split_add, name="split-add"),
    path("runs/<int:pk>/split/<int:position>/", run_content.split_remove, name="split-remove"),
    path("runs/<int:pk>/relief/", run_content.relief_add, name="relief-add"),
    path("runs/<int:pk>/hand-over/", bench.run_submit, name="run-submit"),
    path("runs/<int:pk>/findings/", run_findings.finding_list, name="finding-list"),
    path(
        "runs/<int:pk>/findings/<str:key>/",
        run_findings.finding_answer,
        name="finding-answer",
    ),
]

_imports = [
    path("", run_import.table_list, name="import-list"),
    path("give/", run_import.table_give, name="import-give"),
    path("forms/add/", run_import.sheet_form_add, name="sheet-form-add"),
    path("forms/<int:pk>/", run_import.sheet_form_change, name="sheet-form-change"),
    path("<int:pk>/", run_import.table_show, name="import-show"),
    path("<int:pk>/progress/", run_import.table_progress, name="import-progress"),
    path("<int:pk>/look/", run_import.table_look, name="import-look"),
    path("<int:pk>/take-in/", run_import.table_take_in, name="import-take-in"),
    path("<int:pk>/stop/", run_import.table_stop, name="import-stop"),
]

_review = [
    path("", review.run_queue, name="run-queue"),
    path("runs/", review.runs_accept, name="runs-accept"),
    path("runs/<int:pk>/", review.run_review, name="run-review"),
    path("runs/<int:pk>/history/", review.trail_look, name="trail-look"),
    path(
        "runs/<int:pk>/set-aside/",
        determinations.determination_set_aside,
        name="determination-set-aside",
    ),
    path("runs/<int:pk>/count/", determinations.determination_count, name="determination-count"),
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
    path("items/<serial:serial>/connection/", balances.balance_connect, name="balance-connect"),
    path("items/<serial:serial>/connection/try/", balances.balance_try, name="balance-try"),
    path(
        "items/<serial:serial>/connection/end/",
        balances.balance_disconnect,
        name="balance-disconnect",
    ),
    path("items/<serial:serial>/lines/", balances.balance_lines, name="balance-lines"),
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

_charts = [
    path("", charts.chart_list, name="chart-list"),
    path("open/", charts.chart_open, name="chart-open"),
    path("<int:pk>/", charts.chart_show, name="chart-show"),
    path("<int:pk>/print/", charts.chart_print, name="chart-print"),
    path("<int:pk>/points.csv", charts.chart_csv, name="chart-csv"),
    path("<int:pk>/freeze/", charts.limits_freeze, name="limits-freeze"),
    path("<int:pk>/end-limits/", charts.limits_release, name="limits-release"),
    path("<int:pk>/give-up/", charts.chart_give_up, name="chart-give-up"),
    path("points/<int:pk>/", charts.note_answer, name="note-answer"),
]

_procedures = [
    path("", methods.procedure_list, name="procedure-list"),
    path("add/", methods.procedure_add, name="procedure-add"),
    path("library/", procedure_library.library_list, name="library-list"),
    path("library/<slug:key>/", procedure_library.library_show, name="library-show"),
    path("motion/", methods.motion_preview, name="motion-preview"),
    path("<int:pk>/draft/", methods.version_draft, name="version-draft"),
    path("versions/<int:pk>/", methods.version_show, name="version-show"),
    path("versions/<int:pk>/edit/", methods.version_edit, name="version-edit"),
    path("versions/<int:pk>/propose/", methods.version_propose, name="version-propose"),
    path("versions/<int:pk>/approve/", methods.version_approve, name="version-approve"),
    path("versions/<int:pk>/return/", methods.version_return, name="version-return"),
    path("versions/<int:pk>/compare/", methods.version_compare, name="version-compare"),
    path("versions/<int:pk>/orders/", methods.order_list, name="order-list"),
    path("versions/<int:pk>/orders/<str:number>/", methods.order_decide, name="order-decide"),
]

_specifications = [
    path("", specifications.specification_list, name="specification-list"),
    path("add/", specifications.specification_add, name="specification-add"),
    path("library/", specifications.library_list, name="library-list"),
    path("library/<path:key>/", specifications.library_show, name="library-show"),
    path("preview/", specifications.limits_preview, name="limits-preview"),
    path("<int:pk>/draft/", specifications.version_draft, name="version-draft"),
    path("versions/<int:pk>/", specifications.version_show, name="version-show"),
    path("versions/<int:pk>/edit/", specifications.version_edit, name="version-edit"),
    path("versions/<int:pk>/propose/", specifications.version_propose, name="version-propose"),
    path("versions/<int:pk>/approve/", specifications.version_approve, name="version-approve"),
    path("versions/<int:pk>/return/", specifications.version_return, name="version-return"),
    path("versions/<int:pk>/end/", specifications.version_end, name="version-end"),
    path(
        "versions/<int:pk>/limits.<str:kind>", specifications.version_export, name="version-export"
    ),
]

_verdicts = [path("runs/<int:pk>/", verdicts.run_show, name="run-show")]

_records = [path("", records.entry_list, name="entry-list")]

_settings = [
    path("", settings.laboratory_show, name="laboratory-show"),
    path("change/", settings.laboratory_change, name="laboratory-change"),
    path("checks/", run_checks.check_list, name="check-list"),
    path("checks/<str:code>/", run_checks.check_set, name="check-set"),
    path("competence/", run_checks.competence_list, name="competence-list"),
    path("competence/grant/", run_checks.competence_grant, name="competence-grant"),
    path(
        "competence/<int:pk>/withdraw/",
        run_checks.competence_withdraw,
        name="competence-withdraw",
    ),
    path("tokens/", tokens.token_list, name="token-list"),
    path("tokens/make/", tokens.token_make, name="token-make"),
    path("tokens/<int:pk>/revoke/", tokens.token_revoke, name="token-revoke"),
    path("people/add/", settings.person_add, name="person-add"),
    path("people/<int:pk>/roles/", settings.roles_set, name="roles-set"),
    path("people/<int:pk>/close/", settings.person_deactivate, name="person-deactivate"),
]

_compare = [
    path("", compare.comparison_show, name="comparison-show"),
    path("comparison.<str:form>", compare.comparison_file, name="comparison-file"),
]

_blend = [
    path("", blend.record_list, name="record-list"),
    path("work/", blend.record_work, name="record-work"),
    path("<str:number>/", blend.record_show, name="record-show"),
    path("<str:number>/pdf/", blend.record_pdf, name="record-pdf"),
    path("<str:number>/sieves.csv", blend.record_csv, name="record-csv"),
]

_studies = [
    path("", studies.study_index, name="study-list"),
    path("begin/<slug:kind>/", studies.study_begin, name="study-begin"),
    path("<str:number>/", studies.study_show, name="study-show"),
    path("<str:number>/change/", studies.study_change, name="study-change"),
    path("<str:number>/keep/", studies.study_keep, name="study-keep"),
    path("<str:number>/give-up/", studies.study_give_up, name="study-give-up"),
    path("<str:number>/leave-out/", studies.cell_leave_out, name="cell-leave-out"),
    path("<str:number>/take-back/", studies.cell_take_back, name="cell-take-back"),
    path("<str:number>/answer/", studies.follow_up_answer, name="follow-up-answer"),
    path("<str:number>/pdf/", studies.study_pdf_file, name="study-pdf"),
    path("<str:number>/tables.csv", studies.study_csv_file, name="study-csv"),
]

urlpatterns = [
    path("", include((_door, "web"))),
    path("intake/", include((_intake, "intake"))),
    path("bench/", include(([*_bench, path("import/", include(_imports))], "bench"))),
    path("review/", include((_review, "review"))),
    path("certificates/", include((_certificates, "certificates"))),
    path("equipment/", include((_equipment, "equipment"))),
    path("charts/", include((_charts, "charts"))),
    path("procedures/", include((_procedures, "procedures"))),
    path("specifications/", include((_specifications, "specifications"))),
    path("verdicts/", include((_verdicts, "verdicts"))),
    path("records/", include((_records, "records"))),
    path("settings/", include((_settings, "settings"))),
    path("compare/", include((_compare, "compare"))),
    path("blend/", include((_blend, "blend"))),
    path("studies/", include((_studies, "studies"))),
]
