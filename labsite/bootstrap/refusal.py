"""The one way in which a start command gives up."""


class CannotGoOn(Exception):
    """Something is missing that the person at the keyboard has to provide; says what to type."""
