"""Write the contract's file anew: `python -m tests.api.renew_contract`. Look at the difference."""

import json
import os
from pathlib import Path

import django


def main() -> None:
    """Draw the contract and keep it beside the tests."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings.test")
    django.setup()
    from gradation.api.documentation import contract

    text = json.dumps(contract(), default=str, indent=1, ensure_ascii=False)
    Path(__file__).with_name("openapi.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
