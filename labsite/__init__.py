"""The site around the laboratory: settings, addresses, health and the two start commands."""
