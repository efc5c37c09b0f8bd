"""What can go wrong for the user: the job cannot be done (exit status 1), or the settings are wrong (2).

UnfoldError
├── ScanError       a scan cannot be read, or holds nothing that this job can use
└── SettingsError   job.toml or the command line asks for something that is not allowed

Programming faults stay ValueError, TypeError and so on: they are ours, not the user's.
"""


class UnfoldError(Exception):
    """The job cannot be done: what is wrong, then what to do about it, on one line."""

    exit_status = 1

    def __init__(self, what: str, remedy: str) -> None:
        self.what = " ".join(what.split())
        self.remedy = " ".join(remedy.split())
        super().__init__(f"{self.what}; {self.remedy}")

    def __reduce__(self) -> tuple[type["UnfoldError"], tuple[str, str]]:
        """Let an error pass between processes."""
        return type(self), (self.what, self.remedy)


class ScanError(UnfoldError):
    """A scan cannot be read, or it holds nothing that this job can use."""


class SettingsError(UnfoldError):
    """A setting or an argument is not allowed; the text names the line in job.toml where there is one."""

    exit_status = 2
