"""What the interface shows: measurements as decimal strings, the unit in the field's name."""

from __future__ import annotations

from rest_framework import serializers


class SampleOut(serializers.Serializer):
    """A sample as it stands."""

    number = serializers.CharField()
    state = serializers.CharField()
    customer = serializers.CharField(source="customer.name")
    source_name = serializers.CharField(source="source.name", default="")
    material = serializers.CharField(source="material.name")
    lot = serializers.CharField()
    condition = serializers.CharField()
    mass_received_g = serializers.DecimalField(12, 4, allow_null=True)
    sampled_at = serializers.DateTimeField(allow_null=True)
    received_at = serializers.DateTimeField()
    due_on = serializers.DateField(allow_null=True)


class ResultOut(serializers.Serializer):
    """A frozen result: the worksheet computed and what it gave."""

    version = serializers.IntegerField()
    science_version = serializers.CharField()
    inputs = serializers.JSONField()
    inputs_digest = serializers.CharField()
    values = serializers.JSONField()
    computed_at = serializers.DateTimeField()


class RunOut(serializers.Serializer):
    """A run with its results, newest first."""

    id = serializers.IntegerField()
    sample = serializers.CharField(source="portion.sample.number")
    portion = serializers.CharField(source="portion.label")
    determination = serializers.IntegerField()
    state = serializers.CharField()
    procedure = serializers.CharField(source="procedure_version.__str__")
    bench = serializers.CharField(source="bench.name")
    technician = serializers.CharField(source="technician.full_name")
    results = ResultOut(many=True)


class CertificateOut(serializers.Serializer):
    """An issued certificate: number, state, digest of its file, and its frozen content."""

    number = serializers.CharField()
    state = serializers.CharField()
    sample = serializers.CharField(source="sample.number")
    issued_at = serializers.DateTimeField()
    pdf_sha256 = serializers.CharField()
    content = serializers.JSONField()
