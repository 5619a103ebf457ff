"""Contactor and relay: a coil, an armature on its way, a contact that bounces."""

from supervisor.simulator.coil import NEVER, Coil, ideal_coil


class Switch:
    """Follows its driver's input with delay. ``closed`` is the main contact.

    With ``dropout_s`` the driver is fed with pulses: it drives the coil while rising edges of
    the input follow each other faster than that; any static level lets it go, and a falling edge
    does nothing. Between driver and coil sits an AND: the coil is energised while the driver
    drives it and ``enable`` lets it.

    ``pull_in_s`` and ``release_s`` are from a coil that has settled; what the coil does not take
    of them is the armature's travel. After the first touch the contact parts ``bounces`` times:
    it touches for ``bounce_s`` and parts for as long, then half of it, and so on.
    """

    def __init__(
        self,
        pull_in_s: float,
        release_s: float,
        dropout_s: float | None = None,
        *,
        coil: Coil | None = None,
        bounces: int = 0,
        bounce_s: float = 0.0,
        auxiliary_lag_s: float = 0.0,
    ) -> None:
        self.pull_in_s = pull_in_s
        self.release_s = release_s
        self.bounces = bounces
        self.bounce_s = bounce_s
        self._coil = ideal_coil() if coil is None else coil
        self._dropout_s = dropout_s
        self._auxiliary_lag_s = auxiliary_lag_s
        self._level = False
        self._active_low = False
        self._driven = False
        self._enabled = True
        self._coil_open = False
        self._energised = False
        self._pulled = False  # where the armature is, or is going
        self._contact = False
        self._drops_at_s = NEVER
        self._pulls_at_s = NEVER
        self._contact_at_s: list[float] = []  # when it changes, and changes back, ...
        self._changed_s = -NEVER
        self._shown_before = False
        self.welded = False  # once closed, the contact stays so
        self.stuck_open = False

    @property
    def closed(self) -> bool:
        return self._contact and not self.stuck_open

    @property
    def driven(self) -> bool:
        """Whether the driver would energise the coil, were its wire whole."""
        return self._driven and self._enabled

    @property
    def energised(self) -> bool:
        """Whether the coil is driven, enabled and whole."""
        return self._energised

    @property
    def due_s(self) -> float:
        """When it moves by itself next."""
        contact_s = self._contact_at_s[0] if self._contact_at_s else NEVER
        return min(self._drops_at_s, self._pulls_at_s, contact_s)

    def invert(self, active_low: bool, at_s: float) -> None:
        """A driver that acts on a low level, or one that does not. One fed by edges does not
        care."""
        self._active_low = active_low
        self.input_changes(self._level, at_s)

    def auxiliary_closed(self, at_s: float) -> bool:
        """The auxiliary contact: linked to the main one, and a little later."""
        late = at_s < self._changed_s + self._auxiliary_lag_s
        return self._shown_before if late else self.closed

    def input_changes(self, level: bool, at_s: float) -> None:
        self._level = level
        if self._dropout_s is None:
            self._drive(level is not self._active_low, at_s)
        elif level:
            self._drive(True, at_s)
            self._drops_at_s = at_s + self._dropout_s

    def enable(self, enabled: bool, at_s: float) -> None:
        """The second input of the AND, by hardware alone."""
        self._enabled = enabled
        self._energise(at_s)

    def open_coil(self, is_open: bool, at_s: float) -> None:
        """The coil's wire breaks, or is mended."""
        self._coil_open = is_open
        if is_open:
            self._coil.break_wire(at_s)
        self._energise(at_s)

    def move(self) -> None:
        """What is due happens."""
        at_s = self.due_s
        if at_s == self._drops_at_s:
            self._drops_at_s = NEVER
            self._drive(False, at_s)
        elif at_s == self._pulls_at_s:
            self._move_armature()
        else:
            self._contact_at_s.pop(0)
            bouncing = len(self._contact_at_s) % 2 == 1
            self._set_contact(self._pulled is not bouncing, at_s)

    def mend(self) -> None:
        """Neither welded nor stuck any more: the contact is where the coil wants it."""
        self.welded = self.stuck_open = False
        self._contact_at_s = []
        self._contact = self._pulled

    def hold_closed(self) -> None:
        """For "what if": closed and welded, whatever the coil does."""
        self.stuck_open = False
        self._contact = self.welded = True

    def touches(self, at_s: float) -> None:
        """The contact has just made, or made again after a bounce."""

    def _drive(self, on: bool, at_s: float) -> None:
        self._driven = on
        self._energise(at_s)

    def _energise(self, at_s: float) -> None:
        if self._pulls_at_s <= at_s:
            self._move_armature()
        on = self._driven and self._enabled and not self._coil_open
        if on is not self._energised:
            self._energised = on
            self._pulls_at_s = self._coil.switch(on, at_s)
            if self._pulls_at_s <= at_s:
                self._move_armature()

    def _move_armature(self) -> None:
        """It was held back by its coil until now; a contact that has not moved yet stays."""
        at_s, self._pulls_at_s = self._pulls_at_s, NEVER
        if self._pulled is self._energised:
            return
        self._pulled = self._energised
        self._contact_at_s = []
        if self._contact is not self._pulled:
            self._contact_at_s = self._edges(at_s + self._travel_s())

    def _travel_s(self) -> float:
        if self._pulled:
            return max(self.pull_in_s - self._coil.pull_in_s, 0.0)
        return max(self.release_s - self._coil.release_s, 0.0)

    def _edges(self, first_s: float) -> list[float]:
        edges, lasts_s = [first_s], self.bounce_s
        for _ in range(self.bounces if self._pulled else 0):
            edges += [edges[-1] + lasts_s, edges[-1] + 2 * lasts_s]
            lasts_s /= 2
        return edges

    def _set_contact(self, wanted: bool, at_s: float) -> None:
        shown = self.auxiliary_closed(at_s)
        was = self.closed
        self._contact = wanted or (self.welded and self._contact)
        if self.closed is not was:
            self._shown_before, self._changed_s = shown, at_s
            if self.closed:
                self.touches(at_s)
