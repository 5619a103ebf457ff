"""What a device says when it is not there."""


class HardwareMissing(Exception):
    """A device cannot be opened. ``problem`` says what is wrong, ``remedy`` what to do."""

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(f"{problem}: {remedy}")
        self.problem = problem
        self.remedy = remedy
