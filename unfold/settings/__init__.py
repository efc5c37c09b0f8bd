"""The settings of a job: job.toml, read and checked; each stage has its own table, defined in its own module here."""

from unfold.settings.job import JobSettings, load_settings

__all__ = ["JobSettings", "load_settings"]
