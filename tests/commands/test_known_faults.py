"""Which locked libraries have a known fault.

Expected answers are those of the OSV schema, "Evaluation" and "Examples"
(https://ossf.github.io/osv-schema/), worked by hand; order of versions: PEP 440; names: PEP 503.
"""

import json
import re
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path
from zipfile import ZipFile

import pytest
from django.core.management import CommandError, call_command

from gradation.management.known_faults import Part, browser_parts, compare, locked_parts
from gradation.services import clock

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 11, 30, 9, 0, tzinfo=UTC)


def record(events=(), *, name="quarrylib", ecosystem="PyPI", kind="ECOSYSTEM", **more):
    """Write a record by hand; `events` as "introduced 0, fixed 1.0.2"."""
    affected = {"package": {"ecosystem": ecosystem, "name": name}}
    if events:
        told = [dict([each.split()]) for each in events.split(", ")]
        affected["ranges"] = [{"type": kind, "events": told}]
    affected.update({key: more.pop(key) for key in ("versions",) if key in more})
    return {
        "id": "TEST-2026-1", "modified": "2026-11-29T12:00:00Z", "affected": [affected], **more
    }  # fmt: skip


def listed(tmp_path, *records, parts):
    for number, each in enumerate(records):
        (tmp_path / f"{number}.json").write_text(json.dumps(each))
    return compare(parts, [tmp_path])


def is_touched(tmp_path, version, told):
    return bool(listed(tmp_path, told, parts=[Part("PyPI", "quarrylib", version)]).faults)


@pytest.mark.parametrize(
    ("events", "touched", "free"),
    [
        # Every possible version; "0" lies before any, so before a first development release too.
        ("introduced 0", ["0.dev1", "1.0", "99!1"], []),
        # Everything before 1.0.2.
        ("introduced 0, fixed 1.0.2", ["1.0.1", "1.0.2rc1"], ["1.0.2", "1.0.10", "1.0.2.post1"]),
        # [1.0.0, 1.0.2) and [3.0.0, 3.2.5), also when they do not stand in order.
        (
            "introduced 3.0.0, fixed 1.0.2, fixed 3.2.5, introduced 1.0.0",
            ["1.0.0", "1.0.1", "3.0.0", "3.2.4"],
            ["0.9", "1.0.2", "2.9", "3.2.5", "3.10"],
        ),
        # The last that is touched is touched itself.
        ("introduced 1.0, last_affected 2.1.214", ["1.0", "2.1.214"], ["0.9", "2.1.215", "2.2"]),
        # Beginning and last may be one version.
        ("introduced 1.0, last_affected 1.0", ["1.0", "1.0.0"], ["0.9", "1.1"]),
        # What lies beyond every limit is not spoken of; "*" is none.
        ("introduced 0, limit 2.0", ["1.9"], ["2.0", "3"]),
        ("introduced 0, limit 2.0, limit 3.0", ["2.5"], ["3.0"]),
        ("introduced 0, fixed 1.5, limit *", ["1.4"], ["1.5"]),
    ],
)
def test_s48_a_range_touches_what_the_schema_says(tmp_path, events, touched, free):
    for version in touched:
        assert is_touched(tmp_path, version, record(events)), version
    for version in free:
        assert not is_touched(tmp_path, version, record(events)), version


def test_s48_listed_versions_count_beside_ranges(tmp_path):
    told = record("introduced 2.0, fixed 2.1", versions=["1.0.0", "1.3"])

    found = [v for v in ("1.0", "1.1", "1.3", "2.0.5", "2.1") if is_touched(tmp_path, v, told)]

    assert found == ["1.0", "1.3", "2.0.5"]


def test_s48_ranges_of_commits_touch_no_release(tmp_path):
    assert not is_touched(tmp_path, "1.0", record("introduced 0", kind="GIT"))
    assert is_touched(tmp_path, "1.0", record("introduced 0", kind="GIT", versions=["1.0"]))


def test_s48_a_withdrawn_record_touches_nothing(tmp_path):
    assert is_touched(tmp_path, "1.0", record("introduced 0"))
    assert not is_touched(tmp_path, "1.0", record("introduced 0", withdrawn="2026-11-01T00:00:00Z"))


@pytest.mark.parametrize(
    ("said", "locked", "same"),
    [
        ("Quarry_Lib", "quarry-lib", True),
        ("quarry.lib", "Quarry--Lib", True),
        ("quarrylib", "quarry-lib", False),
    ],
)
def test_s48_names_are_compared_as_pep_503_says(tmp_path, said, locked, same):
    found = listed(tmp_path, record("introduced 0", name=said), parts=[Part("PyPI", locked, "1")])

    assert bool(found.faults) is same


def test_s48_the_same_name_elsewhere_is_another_library(tmp_path):
    told = record("introduced 0", ecosystem="npm")

    assert not is_touched(tmp_path, "1.0", told)


def test_s48_what_cannot_be_ordered_is_told_and_not_left_out(tmp_path):
    told = record("introduced 0, fixed built-tuesday")

    fault = listed(tmp_path, told, parts=[Part("PyPI", "quarrylib", "1.0")]).faults[0]

    assert "its versions cannot be ordered: read it" in fault.words()


def test_s48_a_fault_is_told_once_with_all_its_names_and_the_first_mended_version(tmp_path):
    ranges = "introduced 1.0, fixed 1.2.6, introduced 2.0, fixed 2.0.3"
    one = record(
        ranges, aliases=["CVE-2026-0001"], database_specific={"severity": "HIGH"}, id="A-1"
    )
    two = record(ranges, aliases=["CVE-2026-0001", "A-1"], id="B-1")

    faults = listed(tmp_path, one, two, parts=[Part("PyPI", "quarrylib", "1.2.5")]).faults

    assert [fault.words() for fault in faults] == [
        "quarrylib 1.2.5: A-1 (CVE-2026-0001, B-1), high, mended in 1.2.6"
    ]


def test_s48_a_lock_file_is_read_by_name_and_version():
    text = (
        "django==5.2.8 \\\n    --hash=sha256:00\n"
        "psycopg[binary]==3.3.0 \\\n    --hash=sha256:11\n"
        "tzdata==2026.1 ; sys_platform == 'win32' \\\n    --hash=sha256:22\n# old==1\n"
    )

    assert [(part.name, part.version) for part in locked_parts(text)] == [
        ("django", "5.2.8"), ("psycopg", "3.3.0"), ("tzdata", "2026.1")
    ]  # fmt: skip


def test_s48_every_library_that_is_locked_or_bundled_is_compared():
    lock = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    scripts = {part.name for part in browser_parts(ROOT / "static/vendor")}

    assert len(locked_parts(lock)) == len(re.findall(r"^\S+==", lock, re.MULTILINE)) > 30
    assert scripts == {"htmx.org", "plotly.js"}
    assert len(scripts) == len(list((ROOT / "static/vendor").glob("*.js")))


@pytest.fixture
def archive(tmp_path):
    """An archive as an ecosystem's is, with one record against a locked library of ours."""

    def written(*records):
        path = tmp_path / "all.zip"
        with ZipFile(path, "w") as out:
            for number, each in enumerate(records):
                out.writestr(f"{number}.json", each if isinstance(each, str) else json.dumps(each))
        return path

    return written


def asked(*arguments, at=NOW):
    out = StringIO()
    with clock.at(at):
        try:
            call_command("known_faults", *map(str, arguments), stdout=out)
        except CommandError as refused:
            return refused.returncode, out.getvalue(), str(refused)
    return 0, out.getvalue(), ""


def test_s48_a_known_fault_of_a_locked_library_stops_the_line(archive):
    path = archive(record("introduced 0", name="Django"), record("introduced 0, fixed 0.1"))

    status, told, why = asked(path)

    assert status == 1
    assert "2 records, the newest of 29 Nov 2026 (0 days old)" in told
    assert re.search(
        r"^django 5\.\d+\S*: TEST-2026-1, no mended version named$", told, re.MULTILINE
    )
    assert "Not compared, no list of theirs was given: htmx.org" in told
    assert why.startswith("Known faults: 1.")


def test_s48_what_was_looked_at_is_told_and_not_counted(archive):
    path = archive(record("introduced 0", name="django", aliases=["CVE-2026-7"]))

    status, told, _ = asked(path, "--looked-at", "CVE-2026-7")

    assert (status, "TEST-2026-1 (CVE-2026-7)" in told, "looked at" in told) == (0, True, True)


def test_s48_nothing_known_is_said_so(archive):
    assert asked(archive(record("introduced 0")))[:1] == (0,)


@pytest.mark.parametrize(("days", "status"), [(6, 0), (8, 2)])
def test_s48_an_old_list_is_refused(archive, days, status):
    path = archive(record("introduced 0"))
    at = datetime(2026, 11, 29, 12, tzinfo=UTC) + timedelta(days=days)

    assert asked(path, at=at)[0] == status
    assert asked(path, "--days", "400", at=at)[0] == 0


@pytest.mark.parametrize(
    "broken",
    ["", "[]", '{"id": "X"}', "<html>moved</html>", '{"id": "X", "modified": "yesterday"}',
     '{"id": "X", "modified": "2026-11-29T12:00:00Z", "affected": 7}'],
)  # fmt: skip
def test_s48_a_broken_record_is_named_and_the_list_refused(archive, broken):
    status, _, why = asked(archive(record("introduced 0"), broken))

    assert status == 2
    assert "all.zip: 1.json is no record" in why


def test_s48_an_empty_or_cut_off_list_is_refused(archive, tmp_path):
    whole = archive(record("introduced 0"))
    cut = tmp_path / "cut.zip"
    cut.write_bytes(whole.read_bytes()[:-40])
    (tmp_path / "empty").mkdir()

    for path, words in ((cut, "cannot be read"), (tmp_path / "empty", "holds no record")):
        status, _, why = asked(path)
        assert (status, words in why) == (2, True), why
    status, _, why = asked(archive(record("introduced 0", ecosystem="crates.io")))
    assert (status, "none of the ecosystems" in why) == (2, True)
