"""How long something has been so, as far as that can be said of what comes and goes."""


class Lasting:
    """Gaps up to ``gap_s`` do not end it."""

    def __init__(self, gap_s: float = 0.0) -> None:
        self._gap_s = gap_s
        self._since_s: float | None = None
        self._seen_s = 0.0

    def look(self, now_s: float, *, is_so: bool) -> float | None:
        """None: it is not so, nor has just been."""
        if is_so:
            self._seen_s = now_s
            if self._since_s is None:
                self._since_s = now_s
        elif now_s - self._seen_s > self._gap_s:
            self._since_s = None
        return None if self._since_s is None else now_s - self._since_s


class Darkness:
    """Time without data, which time with data pays off second by second: who is blind more than
    half of the time gets deeper into it, however short each spell is."""

    def __init__(self) -> None:
        self.is_over()
        self._looked: tuple[float, bool] | None = None

    def is_over(self) -> None:
        """``clear_s``: so long it has seen in a row. ``is_all``: in ``lasts_s`` there was nothing
        at all to see."""
        self.dark_s = self.clear_s = self.lasts_s = 0.0
        self.is_all = True

    def look(self, now_s: float, *, is_dark: bool) -> None:
        before_s, was_dark = self._looked or (now_s, is_dark)
        self._looked = (now_s, is_dark)
        passed_s = now_s - before_s
        if is_dark and was_dark:
            self.dark_s += passed_s
        elif not is_dark and not was_dark:
            self.clear_s += passed_s
            self.dark_s = max(0.0, self.dark_s - passed_s)
        if is_dark:
            self.clear_s = 0.0
        if self.dark_s > 0:
            self.lasts_s += passed_s
            self.is_all &= is_dark
        else:
            self.lasts_s, self.is_all = 0.0, True
