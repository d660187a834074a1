"""What every endpoint of the interface keeps to, and how that is told in OpenAPI."""
