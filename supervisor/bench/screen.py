"""The demo's terminal view: what the daemon says, what the operator does, in plain words."""

from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.measure import Measurement
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from supervisor.bench.story import Story
from supervisor.guidance.words import cue_line
from supervisor.protection.trip_names import trip_name
from supervisor.readings import in_words
from supervisor.snapshot import ChannelView, GuidanceView, Snapshot, Stage

STATE_STYLE = {"closed": "bold green", "locked out": "bold white on red"}
SAID_SHOWN = 4
BAR, SHORTEST_BAR = 20, 3
BAR_FROM_V = 3.2


def view(snapshot: Snapshot, story: Story, page: str) -> RenderableType:
    """One refresh of the live view."""
    minutes, seconds = divmod(int(story.rig.elapsed_s), 60)
    head = Text.assemble(
        (f"{snapshot.bank}", "bold"),
        f", profile {snapshot.profile}"
        f"   simulated {minutes:02d}:{seconds:02d}, {story.achieved_speed:.0f} x real time",
    )
    return Group(
        Rule(style="dim"),
        head,
        _state(snapshot),
        *_cues(snapshot),
        Text(),
        _readings(snapshot),
        *_charge(snapshot),
        Text(),
        *_rules(snapshot),
        Text(),
        *_said(story),
        Text(),
        Text(page, style="dim"),
        Text("Ctrl-C leaves.", style="dim"),
    )


def line(snapshot: Snapshot, story: Story) -> str:
    """The same in one line, for a pipe or a log."""
    values = ", ".join(f"{in_words(c.channel)} {_value(c)}" for c in snapshot.channels)
    guidance = snapshot.guidance
    stage = f", {guidance.stage}" if guidance and guidance.stage != Stage.NONE.value else ""
    return f"{story.rig.elapsed_s:7.0f} s  {snapshot.circuit}{stage}: {values}"


class CueLines:
    """For a pipe or a log: a line of each cue that is new, or more or less urgent than it was."""

    def __init__(self) -> None:
        self._told: set[tuple[str, str]] = set()

    def changed(self, guidance: GuidanceView | None, at_s: float) -> list[str]:
        cues = guidance.cues if guidance else ()
        new = [cue for cue in cues if (cue.cue, cue.urgency) not in self._told]
        self._told = {(cue.cue, cue.urgency) for cue in cues}
        return [f"{at_s:7.0f} s  {cue_line(cue)}" for cue in new]


def summary(story: Story, console: Console) -> None:
    """What happened, and what would have happened without the cutoff."""
    plant = story.rig.world.plant
    never_above_v = story.rig.settings.bank.never_above_volts
    lockout = story.lockout
    console.print(Rule(style="dim"))
    if lockout is None:
        console.print(
            f"No trip: the highest cell voltage was {plant.peak_cell_v:.3f} V, "
            f"the maker's limit is {never_above_v:.2f} V."
        )
        return
    opened = (
        "but its opening was not confirmed"
        if lockout.opened_in_s is None
        else f"and no current flowed {lockout.opened_in_s * 1000:.0f} ms later"
    )
    console.print("[bold]What happened[/bold]")
    console.print(f"  {trip_name(lockout.tripped_by)}: {lockout.reason}")
    console.print(
        f"  The coil was dropped, {opened}. "
        f"The true cells reached {plant.peak_cell_v:.3f} V, of {never_above_v:.2f} V at most."
    )
    console.print(f"  Locked out until somebody resets it: {lockout.remedy}")
    console.print("[bold]Without the cutoff[/bold], the knob left as it was")
    console.print(f"  {_without(story, never_above_v)}")
    _end(story, console)


def _end(story: Story, console: Console) -> None:
    """How the charge ended after all, if it did."""
    guidance = story.snapshot.guidance if story.snapshot else None
    if story.snapshot is None or story.snapshot.circuit != "finished" or guidance is None:
        return
    ended = next((e.text for e in story.snapshot.events if e.code == "finished"), "finished")
    console.print("[bold]The end[/bold]")
    console.print(f"  Opened by itself, {ended}.")
    if guidance.rest and guidance.rest.lag_v is not None:
        console.print(
            f"  Rest check {guidance.rest.state}: front and far cell differ by "
            f"{abs(guidance.rest.lag_v) * 1000:.0f} mV after {guidance.rest.for_s / 60:.0f} min."
        )


def _without(story: Story, never_above_v: float) -> str:
    minutes = story.minutes_to(never_above_v)
    end_s, end_v = story.without_cutoff[-1]
    if minutes is None:
        return f"the cells would be at {end_v:.2f} V after {end_s / 3600:.0f} h."
    return (
        f"a cell would have passed {never_above_v:.2f} V after {minutes:.0f} min, "
        f"and stood at {end_v:.2f} V after {end_s / 3600:.0f} h, with nobody in the room."
    )


def _state(snapshot: Snapshot) -> Text:
    style = STATE_STYLE.get(snapshot.circuit, "bold")
    return Text.assemble("the circuit is ", (snapshot.circuit, style))


def _cues(snapshot: Snapshot) -> list[Text]:
    cues = snapshot.guidance.cues if snapshot.guidance else ()
    return [Text(cue_line(cue), "" if cue.urgency == "note" else "bold") for cue in cues]


def _charge(snapshot: Snapshot) -> list[Text]:
    """Stage, forecast and charge passed, while there is a charge."""
    guidance = snapshot.guidance
    if guidance is None or guidance.stage == Stage.NONE.value:
        return []
    told = [f"{guidance.stage}, {guidance.charged_ah:.1f} Ah charged"]
    if snapshot.circuit == "closed":
        told.append(guidance.to_limit.words)
    if guidance.full and not guidance.full.missing:
        told.append(f"full in {(guidance.full.of_s - guidance.full.for_s) / 60:.0f} min")
    if guidance.rest:
        rest = guidance.rest
        told.append(f"rest check {rest.state}, {rest.for_s / 60:.0f} of {rest.of_s / 60:.0f} min")
    return [Text("; ".join(told))]


def _readings(snapshot: Snapshot) -> Table:
    table = Table.grid(padding=(0, 1))
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column()  # the bar: it alone gives way on a narrow terminal
    table.add_column(no_wrap=True)
    limits = _limits(snapshot)
    for channel in snapshot.channels:
        limit = limits.get(channel.unit)
        table.add_row(
            in_words(channel.channel),
            Text("cannot tell" if channel.value is None else _value(channel), "bold"),
            f"({channel.quality})" if channel.value is None else _Bar(channel, limit),
            "" if limit is None else f"limit {limit:g} {channel.unit}",
        )
    return table


def _limits(snapshot: Snapshot) -> dict[str, float]:
    """Of voltage and current, as they are in force: a profile has others than the file."""
    rules = {"overvoltage", "overcurrent"}
    return {rule.unit: rule.limit for rule in snapshot.rules if rule.rule in rules}


def _value(channel: ChannelView) -> str:
    if channel.value is None:
        return f"cannot tell ({channel.quality})"
    return f"{channel.value:z.{1 if channel.unit == 'A' else 3}f} {channel.unit}"


class _Bar:
    """Where the value stands between nothing to see and its limit, as long as there is room."""

    def __init__(self, channel: ChannelView, limit: float | None) -> None:
        low = 0.0 if channel.unit == "A" else BAR_FROM_V
        known = channel.value is not None and limit is not None and limit > low
        self._part = ((channel.value or 0.0) - low) / ((limit or 0.0) - low) if known else 0.0

    def __rich_console__(self, _console: Console, options: ConsoleOptions) -> RenderResult:
        length = min(options.max_width - 1, BAR)
        filled = min(max(round(self._part * length), 0), length)
        yield Text(f"{'=' * filled}{'.' * (length - filled)}|", no_wrap=True)

    def __rich_measure__(self, _console: Console, options: ConsoleOptions) -> Measurement:
        most = min(options.max_width, BAR + 1)
        return Measurement(min(SHORTEST_BAR + 1, most), most)


def _rules(snapshot: Snapshot) -> list[Text]:
    if lockout := snapshot.lockout:
        return [Text(f"tripped by {trip_name(lockout.tripped_by)}: {lockout.reason}")]
    speaking = [rule for rule in snapshot.rules if rule.state != "clear"]
    if not speaking:
        return [Text(f"all {len(snapshot.rules)} rules are clear")]
    return [Text(f"{rule.rule}: {rule.state}. {rule.reason}") for rule in speaking]


def _said(story: Story) -> list[Text]:
    said = [f"{at_s / 60:3.0f} min  {text}" for at_s, text in story.rig.said]
    return [Text(text, style="italic") for text in said[-SAID_SHOWN:]]
