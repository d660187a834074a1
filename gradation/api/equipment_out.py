"""What the equipment endpoints show and take: decimals as text, the unit in the field's name."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from gradation.api.contract.told import Sent
from gradation.api.equipment_in import KINDS
from gradation.queries.nests import NestState


class ItemOut(serializers.Serializer):
    """What every card says."""

    serial = serializers.CharField()
    kind = serializers.CharField()
    state = serializers.CharField()
    state_reason = serializers.CharField()
    note = serializers.CharField()
    bought_on = serializers.DateField(allow_null=True)
    place = serializers.CharField()
    bench = serializers.CharField(source="bench.name", default=None, allow_null=True)
    keeper = serializers.CharField(source="keeper.username", default=None, allow_null=True)
    in_service_since = serializers.DateField(allow_null=True)
    check_interval_days = serializers.IntegerField(allow_null=True)
    check_interval_uses = serializers.IntegerField(allow_null=True)
    use_count = serializers.IntegerField()
    minutes_used = serializers.DecimalField(12, 1)
    next_check_on = serializers.DateField(allow_null=True)
    next_check_at_use = serializers.IntegerField(allow_null=True)


class SieveOut(ItemOut):
    """A test sieve."""

    aperture_um = serializers.DecimalField(10, 2)
    designation = serializers.CharField()
    alternative = serializers.CharField()
    is_standard_size = serializers.BooleanField()
    standard = serializers.CharField()
    edition = serializers.CharField()
    medium = serializers.CharField()
    shape = serializers.CharField()
    grade = serializers.CharField()
    frame_diameter_mm = serializers.DecimalField(6, 1)
    frame_height_mm = serializers.DecimalField(6, 1, allow_null=True)
    maker_certificate = serializers.CharField()
    is_master = serializers.BooleanField()


class InstrumentOut(ItemOut):
    """A shaker, balance, oven, divider, timer or thermometer."""

    model = serializers.CharField()
    firmware = serializers.CharField()
    motion = serializers.CharField()
    frequency_hz = serializers.DecimalField(6, 2, allow_null=True)
    taps_per_min = serializers.IntegerField(allow_null=True)
    amplitude_min_mm = serializers.DecimalField(6, 2, allow_null=True)
    amplitude_max_mm = serializers.DecimalField(6, 2, allow_null=True)
    greatest_nest_g = serializers.DecimalField(10, 1, allow_null=True)
    capacity_g = serializers.DecimalField(12, 4, allow_null=True)
    readability_g = serializers.DecimalField(10, 4, allow_null=True)
    uncertainty_g = serializers.DecimalField(10, 4, allow_null=True)
    set_temperature_c = serializers.DecimalField(6, 1, allow_null=True)
    temperature_tolerance_c = serializers.DecimalField(5, 1, allow_null=True)
    chute_width_mm = serializers.DecimalField(6, 1, allow_null=True)
    limits_source = serializers.CharField()


class CheckOut(serializers.Serializer):
    """A check with what it rests on; the verdict was computed."""

    id = serializers.IntegerField()
    kind = serializers.CharField()
    performed_on = serializers.DateField()
    performed_by = serializers.CharField(source="performed_by.full_name")
    passed = serializers.BooleanField()
    sentence = serializers.CharField()
    edition = serializers.CharField()
    readings = serializers.JSONField()
    findings = serializers.JSONField()
    found_aperture_um = serializers.DecimalField(10, 2, allow_null=True)
    found_u_um = serializers.DecimalField(10, 3, allow_null=True)
    uses_at_check = serializers.IntegerField()
    note = serializers.CharField()
    next_due_on = serializers.DateField(allow_null=True)
    next_due_at_use = serializers.IntegerField(allow_null=True)
    recorded_at = serializers.DateTimeField()


class CheckIn(Sent):
    """A check as it is sent: its kind, the day, the evidence; never a verdict."""

    kind = serializers.ChoiceField(sorted(KINDS))
    performed_on = serializers.DateField()
    evidence = serializers.DictField()
    note = serializers.CharField(max_length=2000, allow_blank=True, default="")
    next_due_on = serializers.DateField(allow_null=True, default=None)


class NestOut(serializers.Serializer):
    """A nest, its sieves from the top, whether it is fit for use and why not."""

    id = serializers.IntegerField(source="nest.pk")
    name = serializers.CharField(source="nest.name")
    procedure = serializers.CharField(source="nest.procedure.code")
    bench = serializers.CharField(source="nest.bench.name", default=None, allow_null=True)
    sieves = serializers.SerializerMethodField()
    is_fit = serializers.BooleanField()
    reasons = serializers.ListField(child=serializers.CharField())
    warnings = serializers.ListField(child=serializers.CharField())

    @extend_schema_field({"type": "array", "items": {"type": "string"}})
    def get_sieves(self, state: NestState) -> list[str]:
        """Give the serial numbers, coarse to fine."""
        return [place.sieve.serial for place in state.nest.places.all()]


class DueOut(serializers.Serializer):
    """One item of the due list."""

    serial = serializers.CharField(source="item.serial")
    kind = serializers.CharField(source="item.kind")
    name = serializers.CharField()
    state = serializers.CharField(source="item.state")
    due = serializers.CharField()
    due_on = serializers.DateField(allow_null=True)
    uses_left = serializers.IntegerField(allow_null=True)
    last_check_on = serializers.DateField(allow_null=True)
    bench = serializers.CharField(source="item.bench.name", default=None, allow_null=True)
    keeper = serializers.CharField(source="item.keeper.username", default=None, allow_null=True)
