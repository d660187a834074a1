"""Walks through the site in a real browser, as the people of a laboratory would go."""
