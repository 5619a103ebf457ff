"""What the guide says, in plain lines."""

from collections.abc import Iterator

from supervisor.guidance.words import cue_line, span
from supervisor.snapshot import FullView, GuidanceView, PulsesView, RestView, Stage

MICRO = 1e6


def cue_lines(guidance: GuidanceView) -> Iterator[str]:
    """The cues, the most urgent first."""
    for cue in guidance.cues:
        yield cue_line(cue)
        if cue.reason:
            yield f"  ({cue.reason})"


def guidance_lines(guidance: GuidanceView) -> Iterator[str]:
    if guidance.stage == Stage.NONE.value:
        yield from _charged(guidance)
        return
    yield f"  stage        {guidance.stage} for {span(guidance.stage_for_s)}"
    yield f"               {guidance.advice}"
    if guidance.stage != Stage.REST.value:
        yield f"  limit        {guidance.to_limit.words}"
        yield f"  full         {guidance.to_full.words}"
    yield from _charged(guidance)
    if guidance.at_rest_v is not None and guidance.resistance_ohm is not None:
        yield (
            f"  at rest      {guidance.at_rest_v:.3f} V without the current's drop "
            f"({guidance.resistance_ohm * MICRO:.0f} microohm)"
        )
    if guidance.full:
        yield from _full(guidance.full)
    if guidance.rest:
        yield from _rest(guidance.rest)
    if guidance.pulses:
        yield from _pulses(guidance.pulses)


def _charged(guidance: GuidanceView) -> Iterator[str]:
    if guidance.charged_ah > 0:
        lost = "" if guidance.charge_is_whole else "; a restart lost some"
        yield (
            f"  charged      {guidance.charged_ah:.1f} Ah (+-{guidance.charged_u_ah:.1f}), "
            f"{guidance.charged_wh:.0f} Wh; at most {guidance.left_ah:.0f} Ah left{lost}"
        )


def _full(full: FullView) -> Iterator[str]:
    if full.missing:
        yield f"  not full     {full.missing[0]}"
        yield from (f"               {missing}" for missing in full.missing[1:])
    else:
        yield f"  full soon    all is met for {span(full.for_s)} of {span(full.of_s)}"


def _rest(rest: RestView) -> Iterator[str]:
    progress = f" {span(rest.for_s)} of {span(rest.of_s)}" if rest.state == "watching" else ""
    yield f"  rest check   {rest.state}{progress}"
    yield from (f"               {finding}" for finding in rest.findings)


def _pulses(pulses: PulsesView) -> Iterator[str]:
    lengths = ", ".join(span(seconds) for seconds in pulses.lengths_s[-5:])
    yield f"  pulses       {pulses.count} of {pulses.most}, the newest: {lengths}"
    if pulses.waits_for:
        yield f"               waits for {pulses.waits_for}"
