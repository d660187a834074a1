"""What verify_records proves beside the chains: results, rows, files, and how it says it."""

import hashlib
import io
import json
from datetime import timedelta

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from pypdf import PdfReader

from gradation.models import (
    Certificate,
    CertificateSignature,
    LedgerEntry,
    Result,
    Sample,
    Seal,
    Weighing,
)
from gradation.policy import Role
from gradation.proofs.entries import canonical_json
from gradation.queries.seals import anchor_of, proof_of_certificate, proof_of_chain, read_anchor
from gradation.services import clock, ledger, seals
from tests import factories, tampering


@pytest.fixture
def certificate(db):
    factories.make_laboratory()
    material = factories.make_material(specification=factories.make_specification())
    return factories.make_certificate(factories.make_sample(material=material))


def verified(*arguments):
    out = io.StringIO()
    try:
        call_command("verify_records", *arguments, "--quiet", stdout=out)
    except CommandError as refusal:
        return out.getvalue() if refusal.returncode == 1 else str(refusal)
    return ""


def test_r41_untouched_records_hold(certificate):
    out = io.StringIO()

    call_command("verify_records", "--quiet", stdout=out)

    assert "Everything holds." in out.getvalue()
    assert f"{LedgerEntry.objects.count()} entries" in out.getvalue()


def test_r71_changed_reading_is_found_as_row_and_as_result(certificate):
    weighing = Weighing.objects.filter(slot=Weighing.Slot.FRACTION).first()
    tampering.run("UPDATE gradation_weighing SET mass_g = 11 WHERE id = %s", weighing.pk)

    said = verified()

    assert "its mass_g differs from what its entries say" in said
    assert "its inputs are not the readings of the run" in said


def test_r71_changed_figure_of_a_result_is_found(certificate):
    result = Result.objects.get()
    with tampering.guards_lifted():
        result.values["table"][0]["passing_pct"] = 12.5
        result.save()

    assert "computing it again gives other figures" in verified()


def test_r71_changed_inputs_of_a_result_are_found(certificate):
    result = Result.objects.get()
    with tampering.guards_lifted():
        result.inputs["dry_mass_g"] = "501"
        result.save()

    assert "its inputs do not give their digest" in verified()


def test_r36_changed_file_and_content_of_a_certificate_are_found(certificate):
    with tampering.guards_lifted():
        Certificate.objects.filter(pk=certificate.pk).update(pdf=b"%PDF-1.7 another")
    assert f"certificate {certificate.number}: its file is not the one" in verified()

    with tampering.guards_lifted():
        content = {**certificate.content, "remarks": "All is well."}
        Certificate.objects.filter(pk=certificate.pk).update(content=content)
    assert f"certificate {certificate.number}: its content is not the one" in verified()


def test_r62_changed_and_removed_signature_of_a_certificate_is_found(certificate):
    signatures = CertificateSignature.objects.filter(certificate=certificate)
    with tampering.guards_lifted():
        signatures.update(meaning="seen by")
    assert f"{certificate.number}: the signature was made for something else" in verified()

    with tampering.guards_lifted():
        signatures.delete()
    assert f"certificate {certificate.number}: its signature is gone" in verified()


def test_a_certificate_from_before_signatures_were_kept_holds(certificate):
    with tampering.guards_lifted():
        CertificateSignature.objects.filter(certificate=certificate).delete()
        LedgerEntry.objects.filter(action="certificate signed").update(action="draft looked at")

    assert "its signature is gone" not in verified()


def test_row_that_nobody_recorded_is_found(certificate):
    weighing = Weighing.objects.filter(slot=Weighing.Slot.FRACTION).first()
    weighing.pk, weighing.revision, weighing.reason = None, 2, "better so"
    weighing.key = factories.reading("pan", "1").key
    weighing.save(force_insert=True)

    assert "no entry tells of it" in verified()


def test_missing_guard_is_named(certificate):
    with connection.cursor() as cursor:
        on = "" if connection.vendor == "sqlite" else " ON gradation_seal"
        if on:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("DROP TRIGGER gradation_seal_no_update" + on)

    assert "guard gradation_seal_no_update: it is missing" in verified()


def test_one_sample_alone_is_proven_by_its_number(certificate):
    other = factories.make_sample()
    entry = LedgerEntry.objects.filter(chain=f"sample/{other.number}").first()
    tampering.run("UPDATE gradation_ledgerentry SET reason = 'x' WHERE id = %s", entry.pk)

    assert verified("--sample", certificate.sample.number) == ""
    assert f"chain sample/{other.number}, entry 1" in verified("--sample", other.number)


def test_since_a_moment_older_entries_are_not_looked_at_but_their_links_are(db):
    early = factories.NOW
    with clock.at(early):
        sample = factories.make_sample()
    with clock.at(early + timedelta(days=3)):
        factories.make_portion(sample=sample)
    first, second = LedgerEntry.objects.filter(chain=f"sample/{sample.number}")

    assert verified("--since", "2026-03-04") == ""
    tampering.run("UPDATE gradation_ledgerentry SET reason = 'x' WHERE id = %s", first.pk)
    assert verified("--since", "2026-03-04") == ""
    assert "entry 1" in verified()
    with tampering.guards_lifted():
        LedgerEntry.objects.filter(pk=first.pk).update(digest="0" * 64)
    said = verified("--since", "2026-03-04")
    assert f"chain sample/{sample.number}, entry 2" in said
    assert second.sequence == 2


def test_anchor_file_that_is_none_is_refused(tmp_path, db):
    file = tmp_path / "anchor.json"
    file.write_text('{"seal": 1}')

    with pytest.raises(CommandError, match="holds no seal") as refused:
        call_command("verify_records", "--anchor", str(file))
    assert refused.value.returncode == 2


def test_f28_exported_seal_proves_later_records_and_betrays_a_rewrite(certificate, tmp_path):
    file = tmp_path / "seals.jsonl"
    call_command("seal_records", "--export", str(file), stdout=io.StringIO())
    factories.make_sample()
    call_command("seal_records", "--export", str(file), stdout=io.StringIO())

    assert verified("--anchor", str(file)) == ""
    assert len(read_anchor(file.read_text())) == 2

    row = json.loads(file.read_text().splitlines()[0])
    file.write_text(json.dumps({**row, "root": "00" * 32}))
    assert "history was rewritten" in verified("--anchor", str(file))


def test_p1_seal_made_at_issue_covers_all_that_was_recorded_before(certificate):
    seal = Seal.objects.get(occasion=Seal.Occasion.CERTIFICATE)
    accepted = LedgerEntry.objects.get(
        chain=f"sample/{certificate.sample.number}", action="run accepted"
    )

    proof = proof_of_certificate(certificate, accepted.sequence)

    assert proof.seal == seal.number
    assert proof.sequence >= accepted.sequence
    assert proof.holds()


def test_p1_seal_of_the_records_is_printed_on_the_certificate(certificate):
    seal = Seal.objects.get(occasion=seals.Occasion.CERTIFICATE)

    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(certificate.pdf)).pages)

    assert certificate.content["seal"] == f"{seal.number} · {seal.root}"
    assert f"seal {seal.number} · " in " ".join(text.split())
    assert seal.root in "".join(text.split())


def test_p1_proof_of_another_digest_does_not_hold(certificate):
    proof = proof_of_chain(f"sample/{certificate.sample.number}")

    another = type(proof)(**{**proof.__dict__, "digest": "0" * 64})

    assert proof.holds()
    assert not another.holds()


def test_seal_is_sent_to_be_kept_elsewhere(
    certificate, mailoutbox, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        call_command("seal_records", "--mail", "vault@example.org", stdout=io.StringIO())

    (message,) = mailoutbox
    seal = Seal.objects.latest("number")
    assert message.to == ["vault@example.org"]
    assert anchor_of(seal).to_json() in message.body
    sent = LedgerEntry.objects.filter(action="seal sent")
    assert [entry.after["seal"] for entry in sent] == [seal.number]


def test_inclusion_is_proven_by_a_command(certificate):
    out = io.StringIO()
    call_command("prove_inclusion", certificate.number, stdout=out)

    proof = json.loads(out.getvalue())
    assert proof["chain"] == f"sample/{certificate.sample.number}"
    with pytest.raises(CommandError, match="no sample or certificate"):
        call_command("prove_inclusion", "X-1", stdout=out)
    unsealed = factories.make_sample()
    with pytest.raises(CommandError, match="not sealed yet"):
        call_command("prove_inclusion", unsealed.number, stdout=out)


WRITTEN = (
    *("chain", "sequence", "actor_name", "action", "subject_type", "subject_id", "subject"),
    *("before", "after", "reason", "door", "address", "request_id", "previous_digest"),
)


def test_digest_is_that_of_the_written_definition(certificate):
    """The entry as one JSON object, keys in order, no spaces: hashed by the standard library."""
    for entry in LedgerEntry.objects.all():
        fields = {name: getattr(entry, name) for name in WRITTEN}
        written = json.dumps(
            {**fields, "at": entry.at.isoformat(), "actor": entry.actor_id},
            sort_keys=True, separators=(",", ":"), ensure_ascii=False,
        )  # fmt: skip
        assert (
            hashlib.sha256(written.encode()).hexdigest() == entry.digest == ledger.digest_of(entry)
        )
        assert canonical_json(json.loads(written)) == written


def test_seals_number_without_a_gap(certificate):
    auditor = factories.make_person(Role.AUDITOR)
    before = Seal.objects.count()

    made = [seals.seal_now(actor=auditor, occasion=seals.Occasion.ASKED) for _ in range(3)]

    assert [seal.number for seal in made] == [before + 1, before + 2, before + 3]
    assert [seal.heads.count() > 0 for seal in made] == [True] * 3
    assert Sample.objects.count() == 1
