"""Words of this place that a password must not be made of (ASVS 5.0, 6.2.11)."""

from __future__ import annotations

import re

from django.contrib.auth.base_user import AbstractBaseUser
from django.core.exceptions import ValidationError

from gradation.models import Laboratory, User

__all__ = ["WordsOfThePlace"]

_OWN = ("gradation", "sieve", "laboratory")
_SHORTEST = 4


class WordsOfThePlace:
    """Refuses a password that is little more than a word of this place or the person's name."""

    def validate(self, password: str, user: AbstractBaseUser | None = None) -> None:
        """Refuse what is left too short once such words, figures and signs are taken out."""
        rest = password.casefold()
        for word in sorted(_words(user), key=len, reverse=True):
            rest = rest.replace(word, "")
        if rest != password.casefold() and len(re.sub(r"[\W\d_]+", "", rest)) < 8:
            msg = "It is made of names known here. Use words that nobody connects with you."
            raise ValidationError(msg, code="password_words")

    def get_help_text(self) -> str:
        """Say it beforehand."""
        return "Not made of your name or the laboratory's."


def _words(user: AbstractBaseUser | None) -> set[str]:
    laboratory = Laboratory.objects.values_list("name", flat=True).first() or ""
    texts = [laboratory, *_OWN]
    if isinstance(user, User):
        texts += [user.username, user.full_name, user.email.partition("@")[0]]
    words = {word for text in texts for word in re.split(r"[\W_]+", text.casefold())}
    return {word for word in words if len(word) >= _SHORTEST}
