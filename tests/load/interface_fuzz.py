"""At least 20,000 requests, sound, unsound and in chains, against the served contract.

`python -m tests.load.interface_fuzz [--database postgres|sqlite] [--requests 20000]`

The site is served as in production with one of each thing in it. schemathesis asks every address
with all its checks: examples at the edges, sound and unsound bodies, and chains in which what one
address made is asked of the next. It goes on with other seeds until enough was asked.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.load import served

#: Refusals by the laboratory's rules, which no schema can say.
_REFUSED = [400, 401, 403, 404, 406, 409, 412, 413, 414, 415, 422, 428, 429]
_CONFIG = """
[checks]
positive_data_acceptance.expected-statuses = {sound}
negative_data_rejection.expected-statuses = {refused}
missing_required_header.expected-statuses = {refused}
"""


def main() -> int:
    """Serve and ask until enough was asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--database", choices=["postgres", "sqlite"], default="sqlite")
    parser.add_argument("--requests", type=int, default=20_000)
    parser.add_argument("--examples", type=int, default=20)
    parser.add_argument("--workers", type=int, default=2)
    told = parser.parse_args()
    with (
        tempfile.TemporaryDirectory() as folder,
        served.database(told.database, Path(folder)) as url,
    ):
        port = served.free_port()
        given = served.variables(url, port, 1)
        given["GRADATION_INTERFACE_CALLS_PER_MINUTE"] = "1000000"
        served.set_up(given)
        from tests.api import fuzzing

        bearer = fuzzing.make_laboratory().bearer
        log = Path(folder) / "log"
        with served.serving(given, log):
            return _until_enough(told, port, bearer, log, Path(folder))


def _until_enough(told: argparse.Namespace, port: int, bearer: str, log: Path, folder: Path) -> int:
    settings = folder / "schemathesis.toml"
    sound = ["2xx", *_REFUSED]
    settings.write_text(_CONFIG.format(sound=sound, refused=_REFUSED), encoding="utf-8")
    seed, asked, failed = 1, 0, 0
    while asked < told.requests and not failed:
        command = [
            *(str(Path(sys.executable).with_name("schemathesis")), "--config-file", str(settings)),
            *("run", f"http://127.0.0.1:{port}/api/v1/openapi.json", "--checks", "all"),
            *("--phases", "examples,coverage,fuzzing,stateful", "--seed", str(seed)),
            *("--max-examples", str(told.examples), "--workers", str(told.workers)),
            *("--continue-on-failure", "--suppress-health-check", "all", "--no-color"),
            *("--header", f"Authorization: {bearer}"),
        ]
        for name, value in served.proxied().items():
            command += ["--header", f"{name}: {value}"]
        failed = subprocess.run(command, check=False, env=dict(os.environ)).returncode
        asked = sum("/api/v1/" in line for line in log.read_text(errors="replace").splitlines())
        print(f"{asked} requests so far, seed {seed}")
        seed += 1
    return failed


if __name__ == "__main__":
    sys.exit(main())
