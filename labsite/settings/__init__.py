"""Settings: `base` is shared; `development`, `test` and `production` each complete it."""
