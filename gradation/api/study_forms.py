"""What each kind of study asks for over the interface; measurements as text or number."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from gradation.queries.studies.asked import (
    BenchesAsked,
    BenchGroup,
    Cell,
    Estimate,
    MethodsAsked,
    Pair,
    PrecisionAsked,
    RoundAsked,
    RoundResult,
    StudyAsked,
    TypedGradation,
    refuse_far_aperture,
)

__all__ = ["ASKED"]

_NAME: dict[str, Any] = {"max_length": 60}
#: Decimals stay as they were sent: they say how a laboratory rounds.
_VALUE: dict[str, Any] = {"max_digits": 18, "decimal_places": None}
_MAYBE: dict[str, Any] = {**_VALUE, "allow_null": True, "default": None}


class _Strict(serializers.Serializer[Any]):
    """Refuses what is not asked for, so that a misspelt field is not lost in silence."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:  # noqa: ANN401
        """Read the fields; a strange one is a fault."""
        strange = set(data) - set(self.fields) if isinstance(data, dict) else set()
        if strange:
            raise serializers.ValidationError(dict.fromkeys(sorted(strange), "Not asked for."))
        values: dict[str, Any] = super().to_internal_value(data)
        return values


class _Asked(_Strict):
    """What a kind asks for."""

    def asked(self) -> StudyAsked:
        """Give what is asked."""
        raise NotImplementedError


class CellIn(_Strict):
    """Results of one participant at one level."""

    participant = serializers.CharField(**_NAME)
    level = serializers.CharField(**_NAME)
    results = serializers.ListField(child=serializers.DecimalField(**_VALUE), max_length=200)


class PrecisionIn(_Asked):
    """A precision study."""

    participants_are = serializers.ChoiceField(
        ["laboratories", "benches", "technicians"], default="laboratories"
    )
    cells = CellIn(many=True)
    unequal_is_meant = serializers.BooleanField(default=False)

    def asked(self) -> PrecisionAsked:
        """Give the cells."""
        values = self.validated_data
        cells = tuple(
            Cell(each["participant"], each["level"], tuple(each["results"]))
            for each in values["cells"]
        )
        return PrecisionAsked(
            cells, values["participants_are"], allows_unequal=values["unequal_is_meant"]
        )


class SieveIn(_Strict):
    """Passing at one aperture, a value for each portion."""

    aperture_um = serializers.DecimalField(**_VALUE, min_value=Decimal("0.001"))
    passing_pct = serializers.ListField(
        child=serializers.DecimalField(**_VALUE, min_value=Decimal(0), max_value=Decimal(100)),
        min_length=1,
        max_length=50,
    )
    measured_um = serializers.DecimalField(
        **_MAYBE, help_text="Mean aperture of that sieve as its check found it, where it is known."
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse a measured aperture that cannot be that sieve's."""
        if attrs["measured_um"] is not None:
            why = refuse_far_aperture(attrs["aperture_um"], attrs["measured_um"])
            if why:
                raise serializers.ValidationError({"measured_um": why})
        return attrs


class SideIn(_Strict):
    """One side: runs of this laboratory by their keys, or what another laboratory reported."""

    name = serializers.CharField(**_NAME, allow_blank=True, default="")
    runs = serializers.ListField(
        child=serializers.IntegerField(min_value=1), default=list, max_length=50
    )
    reported = SieveIn(many=True, default=list)

    def side(self, values: dict[str, Any]) -> BenchGroup:
        """Give the side; sieves coarse to fine."""
        typed = [
            TypedGradation(each["aperture_um"], tuple(each["passing_pct"]), each["measured_um"])
            for each in values["reported"]
        ]
        typed.sort(key=lambda row: -row.aperture_um)
        return BenchGroup(values["name"], tuple(values["runs"]), tuple(typed))


class BenchesIn(_Asked):
    """Two benches or laboratories."""

    first, second = SideIn(), SideIn()

    def asked(self) -> BenchesAsked:
        """Give both sides."""
        values = self.validated_data
        return BenchesAsked(SideIn().side(values["first"]), SideIn().side(values["second"]))


class ResultIn(_Strict):
    """What one participant reported."""

    participant = serializers.CharField(**_NAME)
    result = serializers.DecimalField(**_VALUE)


class RoundIn(_Asked):
    """A comparison round."""

    own = serializers.DecimalField(**_VALUE)
    u_own = serializers.DecimalField(**_MAYBE)
    estimate = serializers.ChoiceField([each.value for each in Estimate], default="stated")
    assigned = serializers.DecimalField(**_MAYBE)
    deviation = serializers.DecimalField(**_MAYBE)
    u_assigned = serializers.DecimalField(**_MAYBE)
    results = ResultIn(many=True, default=list)

    def asked(self) -> RoundAsked:
        """Give our result and what it is held against."""
        values = dict(self.validated_data)
        values["estimate"] = Estimate(values["estimate"])
        values["results"] = tuple(RoundResult(**each) for each in values["results"])
        return RoundAsked(**values)


class PairIn(_Strict):
    """Both methods on one sample."""

    sample = serializers.CharField(**_NAME)
    first = serializers.DecimalField(**_VALUE)
    second = serializers.DecimalField(**_VALUE)


class MethodsIn(_Asked):
    """Two methods."""

    first_method = serializers.CharField(**_NAME)
    second_method = serializers.CharField(**_NAME)
    pairs = PairIn(many=True)
    variance_ratio = serializers.DecimalField(**_VALUE, default=Decimal(1))

    def asked(self) -> MethodsAsked:
        """Give the pairs."""
        values = dict(self.validated_data)
        values["pairs"] = tuple(Pair(**each) for each in values["pairs"])
        return MethodsAsked(**values)


#: Kinds by their word over the interface.
ASKED: dict[str, type[_Asked]] = {
    "precision": PrecisionIn,
    "benches": BenchesIn,
    "round": RoundIn,
    "methods": MethodsIn,
}
