"""How OpenAPI is told of the token."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension


class TokenScheme(OpenApiAuthenticationExtension):
    """Authorization: Bearer, as the interface takes it."""

    target_class = "gradation.api.tokens.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:  # noqa: ANN401
        """Give the scheme."""
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "<public part>.<secret>, as it was shown once when it was made.",
        }
