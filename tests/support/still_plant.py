"""A plant in which nothing happens by itself, for what hangs on one."""

from collections.abc import Callable


class Supply:
    ripple_hz = 100.0


class StillPlant:
    """100 A, until something is changed."""

    def __init__(self, ripple: float = 0.0) -> None:
        self.supply = Supply()
        self.before_change: list[Callable[[float], None]] = []
        self.current_a = 100.0
        self.current_ripple_a = 100.0 * ripple

    def advance(self, at_s: float) -> None:
        """Nothing happens by itself."""

    def change(self, at_s: float, act: Callable[[], None]) -> None:
        for listener in self.before_change:
            listener(at_s)
        act()
