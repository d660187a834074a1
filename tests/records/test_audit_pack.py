"""An audit pack proves itself with nothing but Python, and betrays what was changed in it."""

import io
import json
import subprocess
import sys
import zipfile
from hashlib import sha256

import jsonschema
import pytest

from gradation.errors import Conflict, NotAllowed
from gradation.models import LedgerEntry, Seal
from gradation.policy import Role
from gradation.services import audit_pack, certify
from tests import factories


@pytest.fixture
def certificate(db):
    factories.make_laboratory()
    material = factories.make_material(specification=factories.make_specification())
    return factories.make_certificate(factories.make_sample(material=material))


@pytest.fixture
def folder(certificate, tmp_path):
    auditor = factories.make_person(Role.AUDITOR)
    pack = audit_pack.pack_certificate(actor=auditor, certificate=certificate)
    with zipfile.ZipFile(io.BytesIO(pack.content)) as archive:
        archive.extractall(tmp_path)
    return tmp_path


def proven(folder, *arguments):
    """Run the pack's own script in a bare Python: no site packages, nothing of this project."""
    done = subprocess.run(
        [sys.executable, "-I", "-S", "-c", BARE, *arguments],
        cwd=folder, capture_output=True, text=True, check=False, env={},
    )  # fmt: skip
    assert done.stderr == ""
    return done.returncode, done.stdout


#: Isolated mode leaves out the script's folder; it alone is put back.
BARE = "import sys; sys.path.insert(0, '.'); exec(open('verify.py').read())"


def test_r93_pack_is_proven_without_the_application(folder):
    assert proven(folder) == (0, "Everything holds.\n")


def test_r93_pack_holds_all_that_is_behind_the_certificate(folder, certificate):
    record = json.loads((folder / "record.json").read_text())
    entries = [json.loads(line) for line in (folder / "ledger.jsonl").read_text().splitlines()]
    schema = json.loads((folder / "schema.json").read_text())

    run = certificate.runs.get()
    assert (folder / "certificate.pdf").read_bytes() == bytes(certificate.pdf)
    assert len(record["readings"]) == run.weighings.count()
    assert len(record["equipment"]) == run.places.count()
    chain = f"sample/{certificate.sample.number}"
    of_sample = [entry for entry in entries if entry["chain"] == chain]
    assert len(of_sample) == LedgerEntry.objects.filter(chain=chain).count()
    jsonschema.validate(record, {**schema, "$ref": "#/$defs/record"})
    for entry in entries:
        jsonschema.validate(entry, {**schema, "$ref": "#/$defs/entry"})


def test_pack_is_held_against_the_seal_kept_outside(folder):
    root = Seal.objects.latest("number").root

    assert proven(folder, "--root", root)[0] == 0
    code, said = proven(folder, "--root", "0" * 64)
    assert code == 1
    assert "the seal is not the one kept outside" in said


def change_text(name, old, new):
    def change(folder):
        file = folder / name
        text = file.read_text()
        assert old in text
        file.write_text(text.replace(old, new, 1))
        listed = json.loads((folder / "files.json").read_text())
        listed[name] = sha256(file.read_bytes()).hexdigest()
        (folder / "files.json").write_text(json.dumps(listed))

    return change


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (change_text("ledger.jsonl", '"125', '"126'), "its content does not give its digest"),
        (change_text("record.json", '"mass_g": "125', '"mass_g": "126'), "recorded as 125"),
        (change_text("certificate.json", "Norrhaven", "Sorrhaven"), "is not the content that was"),
        (change_text("seal.json", '"path": [\n    "', '"path": [\n    "00'), "lead to the root"),
        (lambda folder: (folder / "certificate.pdf").write_bytes(b"%PDF"), "is not the file"),
        (lambda folder: (folder / "record.json").unlink(), "record.json is missing"),
    ],
)
def test_changed_pack_is_found(folder, change, says):
    change(folder)

    code, said = proven(folder)
    assert code == 1
    assert says in said


def test_only_those_who_export_records_get_a_pack_and_none_of_a_draft(certificate):
    with pytest.raises(NotAllowed):
        audit_pack.pack_certificate(actor=factories.technician(), certificate=certificate)
    run = factories.make_accepted_run()
    signatory = factories.signatory()
    draft = certify.draft_certificate(
        actor=signatory, sample=run.portion.sample, drafting=certify.Drafting(runs=[run])
    )
    with pytest.raises(Conflict):
        audit_pack.pack_certificate(actor=factories.make_person(Role.AUDITOR), certificate=draft)
