"""What the tests of the demo scenario ask of it again and again."""

from gradation.models import LedgerEntry, Run, Sample

CONTROL = "control material"


def customers_samples():
    return Sample.objects.exclude(material__trade=CONTROL)


def handed_over():
    return Run.objects.filter(results__isnull=False).distinct()


def warnings_of(run):
    return {each["code"] for each in run.results.first().values["warnings"]}


def actions_on(subject):
    entries = LedgerEntry.objects.filter(
        subject_type=subject._meta.model_name, subject_id=subject.pk
    )
    return list(entries.order_by("id").values_list("action", flat=True))
