"""What the interface shows: measurements as decimal strings, the unit in the field's name."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from gradation.models import Certificate, Run, Sample


def states(kind: Any) -> list[str]:  # noqa: ANN401 - any StrEnum
    """Give the words of a state, in their order."""
    return [each.value for each in kind]


class SampleOut(serializers.Serializer):
    """A sample as it stands."""

    number = serializers.CharField()
    state = serializers.ChoiceField(states(Sample.State))
    state_reason = serializers.CharField()
    customer = serializers.CharField(source="customer.name")
    source_name = serializers.CharField(source="source.name", default="")
    material = serializers.CharField(source="material.name")
    procedure_version = serializers.IntegerField(source="procedure_version_id")
    specification_version = serializers.IntegerField(
        source="specification_version_id", allow_null=True
    )
    lot = serializers.CharField()
    customer_reference = serializers.CharField()
    description = serializers.CharField()
    sampled_by = serializers.ChoiceField(states(Sample.SampledBy))
    sampler_name = serializers.CharField()
    sampling_method = serializers.CharField()
    condition = serializers.CharField()
    mass_received_g = serializers.DecimalField(12, 4, allow_null=True)
    sampled_at = serializers.DateTimeField(allow_null=True)
    received_at = serializers.DateTimeField()
    storage_place = serializers.CharField()
    due_on = serializers.DateField(allow_null=True)
    retain_until = serializers.DateField(allow_null=True)
    disposed_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField(help_text="Counts the changes.")


class ResultOut(serializers.Serializer):
    """A frozen result: the worksheet computed and what it gave."""

    version = serializers.IntegerField()
    science_version = serializers.CharField()
    inputs = serializers.JSONField(help_text="The worksheet, as `gradations` takes it.")
    inputs_digest = serializers.CharField()
    values = serializers.JSONField(help_text="The figures, as `gradations` gives them.")
    computed_at = serializers.DateTimeField()


class RunBrief(serializers.Serializer):
    """A run as lists show it."""

    id = serializers.IntegerField()
    sample = serializers.CharField(source="portion.sample.number")
    portion = serializers.CharField(source="portion.label")
    determination = serializers.IntegerField()
    state = serializers.ChoiceField(states(Run.State))
    state_reason = serializers.CharField()
    procedure = serializers.CharField(source="procedure_version.__str__")
    bench = serializers.CharField(source="bench.name")
    technician = serializers.CharField(source="technician.full_name")
    counts = serializers.BooleanField(help_text="Whether it counts among the determinations.")
    opened_at = serializers.DateTimeField()
    weighed_at = serializers.DateTimeField(allow_null=True)
    reviewed_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField(help_text="Counts the changes.")


class PlaceOut(serializers.Serializer):
    """A place of the nest, from the top down; the pan is no place."""

    position = serializers.IntegerField()
    aperture_um = serializers.DecimalField(10, 2)
    sieve = serializers.CharField(source="sieve.serial", default=None, allow_null=True)
    is_split = serializers.BooleanField(help_text="What passes it is reduced before sieving on.")
    is_relief = serializers.BooleanField()


class RunOut(RunBrief):
    """A run with its places and its results, newest first."""

    performed_on = serializers.DateField(
        source="transcription.performed_on",
        default=None,
        allow_null=True,
        help_text="Day of the work, where the run is typed from paper; else null.",
    )
    deviations = serializers.CharField()
    wash_agent = serializers.CharField()
    soak_minutes = serializers.DecimalField(6, 1, allow_null=True)
    wet_sieved = serializers.BooleanField()
    aids = serializers.CharField()
    shaking_minutes = serializers.DecimalField(5, 1, allow_null=True)
    places = PlaceOut(many=True)
    results = ResultOut(many=True)


class CertificateBrief(serializers.Serializer):
    """A certificate as lists show it; a draft has no number yet."""

    id = serializers.IntegerField()
    number = serializers.CharField(allow_null=True)
    state = serializers.ChoiceField(states(Certificate.State))
    sample = serializers.CharField(source="sample.number")
    customer = serializers.CharField(source="sample.customer.name")
    amends = serializers.CharField(source="amends.number", default=None, allow_null=True)
    reason = serializers.CharField(help_text="Why it amends another.")
    drafted_at = serializers.DateTimeField()
    issued_at = serializers.DateTimeField(allow_null=True)
    issued_by = serializers.CharField(source="issued_by_name")
    withdrawn_at = serializers.DateTimeField(allow_null=True)
    withdrawal_reason = serializers.CharField()
    pdf_sha256 = serializers.CharField(help_text="Digest of the file; empty before it is issued.")
    remarks = serializers.CharField()


class CertificateOut(CertificateBrief):
    """A certificate with its frozen content; null before it is issued."""

    content = serializers.JSONField(allow_null=True)
