"""Contactor and relay: a coil, a contact, and the time between them."""

NEVER = float("inf")


class Switch:
    """Follows its driver's input with delay. ``closed`` is the main contact.

    With ``dropout_s`` the driver is fed with pulses: it drives the coil while rising edges of
    the input follow each other faster than that; any static level lets it go, and a falling edge
    does nothing. Between driver and coil sits an AND: the coil is energised while the driver
    drives it and ``enable`` lets it.
    """

    def __init__(
        self,
        pull_in_s: float,
        release_s: float,
        dropout_s: float | None = None,
    ) -> None:
        self.pull_in_s = pull_in_s
        self.release_s = release_s
        self._dropout_s = dropout_s
        self._driven = False
        self._enabled = True
        self._energised = False
        self._contact = False
        self._drops_at_s = NEVER
        self._moves_at_s = NEVER
        self.welded = False  # once closed, the contact stays so
        self.stuck_open = False

    @property
    def closed(self) -> bool:
        return self._contact and not self.stuck_open

    @property
    def due_s(self) -> float:
        """When it moves by itself next."""
        return min(self._drops_at_s, self._moves_at_s)

    def input_changes(self, level: bool, at_s: float) -> None:
        if self._dropout_s is None:
            self._drive(level, at_s)
        elif level:
            self._drive(True, at_s)
            self._drops_at_s = at_s + self._dropout_s

    def enable(self, enabled: bool, at_s: float) -> None:
        """The second input of the AND, by hardware alone."""
        self._enabled = enabled
        self._energise(at_s)

    def move(self) -> None:
        """What is due happens."""
        at_s = self.due_s
        if at_s == self._drops_at_s:
            self._drops_at_s = NEVER
            self._drive(False, at_s)
        else:
            self._moves_at_s = NEVER
            self._follow_coil()

    def mend(self) -> None:
        """Neither welded nor stuck any more: the contact is where the coil wants it."""
        self.welded = self.stuck_open = False
        self._follow_coil()

    def hold_closed(self) -> None:
        """For "what if": closed and welded, whatever the coil does."""
        self.stuck_open = False
        self._contact = self.welded = True

    def _drive(self, on: bool, at_s: float) -> None:
        self._driven = on
        self._energise(at_s)

    def _energise(self, at_s: float) -> None:
        on = self._driven and self._enabled
        if on is not self._energised:
            self._energised = on
            self._moves_at_s = at_s + (self.pull_in_s if on else self.release_s)

    def _follow_coil(self) -> None:
        self._contact = self._energised or (self.welded and self._contact)
