"""Several sessions on one page: the same plots, and one table."""

from supervisor.report.compare_plots import Compared, comparison_plot
from supervisor.report.figures import figures_of
from supervisor.report.record import Record, Tell
from supervisor.report.rendering import render
from supervisor.report.verdict import judge


def comparison_page(records: list[Record], tell: Tell) -> str:
    tell("figures of all sessions")
    sessions = [Compared(record, figures_of(record)) for record in records]
    tell("plots of all sessions")
    simulated = [str(r.session.id) for r in records if r.session.is_simulated]
    return render(
        "compare.html",
        sessions=sessions,
        verdicts=[judge(s.record, s.figures) for s in sessions],
        fingerprints=[s.record.session.settings_sha256 for s in sessions],
        from_begin=comparison_plot(sessions, by_end=False),
        to_end=comparison_plot(sessions, by_end=True),
        simulated=f"SIMULATED: session {', '.join(simulated)}" if simulated else "",
    )
