"""docker-compose.yml: read with a parser and held against the settings it configures."""

import re
from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "docker-compose.yml").read_text(encoding="utf-8")
COMPOSE = yaml.safe_load(TEXT)
SERVICES = COMPOSE["services"]
OURS = ["web", "migrate", "deliver"]


def test_there_is_a_proxy_a_web_server_a_worker_a_database_and_a_migration():
    assert set(SERVICES) == {"proxy", "web", "deliver", "migrate", "grant", "db"}


@pytest.mark.parametrize("name", ["proxy", "web", "db"])
def test_what_runs_on_has_a_health_check_and_starts_again(name):
    assert SERVICES[name]["healthcheck"]["test"][0] == "CMD"
    assert SERVICES[name]["restart"] == "unless-stopped"


def test_web_can_be_multiplied():
    web = SERVICES["web"]

    assert web["deploy"]["replicas"] == "${GRADATION_REPLICAS:-2}"
    assert "container_name" not in web
    assert "ports" not in web


def test_only_the_proxy_is_reached_from_outside():
    assert [name for name, service in SERVICES.items() if "ports" in service] == ["proxy"]
    assert COMPOSE["networks"]["inner"]["internal"] is True
    assert all(SERVICES[name]["networks"] == ["inner"] for name in ["migrate", "db"])
    assert set(SERVICES["web"]["networks"]) & set(SERVICES["proxy"]["networks"]) == {"inner"}


def test_web_reaches_a_mail_server():
    assert SERVICES["web"]["networks"] == ["inner", "mail"]
    assert not (COMPOSE["networks"]["mail"] or {}).get("internal")


def test_the_worker_reaches_other_systems_and_is_reached_by_none():
    assert SERVICES["deliver"]["networks"] == ["inner", "outer"]
    assert "ports" not in SERVICES["deliver"]
    assert SERVICES["deliver"]["restart"] == "unless-stopped"


def test_the_proxy_that_web_trusts_is_the_proxy_that_runs():
    address = SERVICES["proxy"]["networks"]["inner"]["ipv4_address"]

    assert SERVICES["web"]["environment"]["GRADATION_TRUSTED_PROXIES"] == address


def test_s23_the_proxy_sends_people_on_to_tls_and_no_program():
    plain, tls = COMPOSE["configs"]["caddyfile"]["content"].split("{$$GRADATION_BASE_URL} {", 1)

    assert "auto_https disable_redirects" in plain
    assert re.search(r"handle /api/\* \{\s+respond \"[^\"]+\" 403\s+\}", plain)
    assert re.search(r"handle \{\s+redir \{\$\$GRADATION_BASE_URL\}\{uri\} 308\s+\}", plain)
    assert "max_size 25MB" in tls


def test_web_waits_for_the_database_and_its_tables():
    conditions = {name: entry["condition"] for name, entry in SERVICES["web"]["depends_on"].items()}

    assert conditions == {"db": "service_healthy", "grant": "service_completed_successfully"}


#: Read by the program beside the balances, which does not run in the web's containers.
OF_THE_GATEWAY = {"GRADATION_BENCH_TOKEN"}
#: TLS of the web server itself: the file is for one machine, whose inner network leads nowhere.
OF_SEVERAL_MACHINES = {f"GRADATION_TLS_{name}_FILE" for name in ("CERTIFICATE", "KEY", "CALLERS")}


@pytest.mark.parametrize("name", OURS)
def test_web_gets_every_variable_that_the_settings_read_and_no_other(name):
    source = (ROOT / "labsite/settings/environment.py").read_text(encoding="utf-8")
    read = set(re.findall(r"\b(?:GRADATION_[A-Z_]+|DATABASE_URL)\b", source))

    given = set(SERVICES[name]["environment"]) - {"DJANGO_SETTINGS_MODULE"}

    assert given == read - OF_THE_GATEWAY - OF_SEVERAL_MACHINES


SECRETS = (
    *("GRADATION_SECRET_KEY", "GRADATION_BASE_URL"),
    *("POSTGRES_PASSWORD", "POSTGRES_APPLICATION_PASSWORD"),
)


@pytest.mark.parametrize(
    ("name", "role"),
    [("web", "gradation_web"), ("deliver", "gradation_web"), ("migrate", "gradation"),
     ("grant", "gradation")],
)  # fmt: skip
def test_s47_only_what_alters_tables_acts_as_their_owner(name, role):
    url = SERVICES[name]["environment"]["DATABASE_URL"]

    assert url.startswith(f"postgres://{role}:$")


def test_secrets_have_no_default():
    for secret in SECRETS:
        uses = re.findall(rf"(?<!\$)\$\{{{secret}\b([^}}]*)\}}", TEXT)

        assert uses, secret
        assert all(use.startswith(":?") for use in uses), secret


def test_records_and_certificates_outlive_the_containers():
    used = {
        mount.split(":")[0] for service in SERVICES.values() for mount in service.get("volumes", ())
    }

    assert used == set(COMPOSE["volumes"])


def test_the_image_copies_only_what_is_there():
    recipe = SERVICES["web"]["build"]["dockerfile_inline"]
    copied = re.findall(r"^COPY (.+) \S+$", recipe, re.MULTILINE)

    assert copied
    for name in " ".join(copied).split():
        assert (ROOT / name).exists(), name


def test_the_image_runs_without_rights_and_by_hashes():
    recipe = SERVICES["web"]["build"]["dockerfile_inline"]

    assert "--require-hashes" in recipe
    assert recipe.index("USER gradation") < recipe.index("CMD ")
    assert SERVICES["web"]["cap_drop"] == ["ALL"]
    assert SERVICES["web"]["read_only"] is True


@pytest.mark.parametrize("name", SERVICES)
def test_f18_every_image_from_elsewhere_is_pinned_to_a_release(name):
    image = SERVICES[name]["image"]

    assert image.startswith("gradation:") or re.search(r":\d+", image)
