"""Commands of the site, and the scenario that the demonstration loads."""
