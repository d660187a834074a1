"""Every tampering with an issued file is found; every print of one content is the same bytes.

`python -m tests.load.tampered_files [--files 2000] [--prints 100]`, on a throw-away SQLite file.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from pathlib import Path


def tampered(issued: bytes, chance: random.Random) -> bytes:
    """Return the file with one byte changed, or with something added after its end."""
    if chance.random() < 0.5:
        at = chance.randrange(len(issued))
        return issued[:at] + bytes([issued[at] ^ chance.randrange(1, 256)]) + issued[at + 1 :]
    return issued + chance.randbytes(chance.randrange(1, 400))


def _issued(folder):
    from django.conf import settings
    from django.core.management import call_command

    from gradation.services import signing_keys
    from tests import factories

    call_command("migrate", verbosity=0)
    settings.SIGNING_KEY_FILE = str(folder / "key.pem")
    signing_keys.make_key_once(folder / "key.pem", factories.make_laboratory())
    return bytes(factories.make_certificate().pdf)


def main() -> None:
    """Print how many of the tampered files were found, and how many prints differ."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=2000)
    parser.add_argument("--prints", type=int, default=100)
    asked = parser.parse_args()
    import os

    os.environ["DJANGO_SETTINGS_MODULE"] = "labsite.settings.test"
    import django

    django.setup()
    from gradation.documents.certificate import certificate_pdf
    from gradation.services.file_answers import Likeness, answer_on_file
    from tests.documents.example_certificate import make_content

    with tempfile.TemporaryDirectory() as folder:
        issued, chance = _issued(Path(folder)), random.Random(29)
        told = [answer_on_file(tampered(issued, chance)).likeness for _ in range(asked.files)]
    found = sum(likeness is not Likeness.SAME for likeness in told)
    digests = {certificate_pdf(make_content()) for _ in range(asked.prints)}
    print(f"{found} of {asked.files} tampered files found")
    print(f"{asked.prints} prints, {len(digests)} different")
    sys.exit(0 if found == asked.files and len(digests) == 1 else 1)


if __name__ == "__main__":
    main()
