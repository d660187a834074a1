"""The Django application: one laboratory's samples, runs, equipment and certificates."""

from django.apps import AppConfig


class GradationConfig(AppConfig):
    """Registers the models and the checks that keep an unsafe database from being used."""

    name = "gradation"
    label = "gradation"
    verbose_name = "Gradation"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Connect the checks; nothing here touches the database."""
        from gradation import checks
        from gradation.web import sessions

        checks.connect()
        sessions.connect()
