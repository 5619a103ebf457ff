"""The certificate as one page that stands alone: for a phone, and for paper."""

from collections.abc import Iterable, Iterator, Mapping
from html import escape
from typing import Any

from supervisor.commissioning.certificate_figures import figures
from supervisor.commissioning.certificate_words import minute, values_in_words

STYLE = """
:root { color-scheme: light dark; --ink: #1c1c1a; --paper: #fdfcf9; --line: #8a867c;
  --quiet: #5a574f; --good: #1d5c33; --bad: #9a1c10 }
@media (prefers-color-scheme: dark) { :root { --ink: #ecebe6; --paper: #171715; --line: #77746b;
  --quiet: #b5b2a8; --good: #8fd3a4; --bad: #ff9d8f } }
@media print { :root { color-scheme: light; --ink: #000; --paper: #fff; --line: #777;
  --quiet: #333; --good: #000; --bad: #000 } section { break-inside: avoid } }
body { font: 1rem/1.45 system-ui, sans-serif; color: var(--ink); background: var(--paper);
  max-width: 52rem; margin: 0 auto; padding: 1rem; overflow-wrap: break-word }
code { overflow-wrap: anywhere } .relied { columns: 20rem; font-size: .85rem }
h1 { font-size: 1.5rem; margin: 0 } h2 { font-size: 1.15rem; margin: 1.6rem 0 .3rem }
p { margin: .4rem 0 } .quiet { color: var(--quiet); font-weight: 400 }
.good { color: var(--good); font-weight: 600 } .bad { color: var(--bad); font-weight: 600 }
.simulated { border: 3px solid var(--bad); padding: .5rem; font-size: 1.4rem; font-weight: 700 }
.wide { overflow-x: auto } table { border-collapse: collapse; width: 100% }
caption { text-align: left; color: var(--quiet) }
th, td { text-align: left; vertical-align: top; padding: .25rem .6rem .25rem 0;
  border-top: 1px solid var(--line) }
td.number { white-space: nowrap; font-variant-numeric: tabular-nums }
@media (max-width: 40rem) { table, tbody, caption, tr, th[scope=row], td { display: block }
  th[scope=col] { display: none } th, td { border: 0; padding: 0 } td:empty { display: none }
  tr + tr { border-top: 1px solid var(--line); padding: .3rem 0 }
  td.number { white-space: normal } td[data-of]::before { content: attr(data-of) " " } }
.sign { display: grid; grid-template-columns: repeat(auto-fit, minmax(14rem, 1fr)); gap: 2rem }
.sign p { border-top: 1px solid var(--ink); margin-top: 4rem; padding-top: .3rem }
"""
SIGNED = ("Tried by: name, date", "Mains side, licensed electrician: name, date")


def certificate_page(certificate: Mapping[str, Any]) -> str:
    """HTML of a certificate. Everything people wrote is escaped."""
    bank = escape(certificate["bank"])
    body = "\n".join(
        (
            *_head(certificate),
            *(part for entry in certificate["steps"] for part in _step(entry)),
            *_end(certificate),
        )
    )
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Commissioning of {bank}</title>\n<style>{STYLE}</style>\n</head>\n"
        f"<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


def _head(certificate: Mapping[str, Any]) -> Iterator[str]:
    if certificate["simulated"]:
        yield '<p class="simulated">SIMULATED: no real build was tried</p>'
    yield f"<h1>Commissioning of {escape(certificate['bank'])}</h1>"
    yield f'<p class="quiet">{escape(certificate["words"])}</p>'
    yield (
        '<p class="quiet">What stands after &plusmn; is the expanded uncertainty, k = 2. '
        "Times are in UTC.</p>"
    )
    if certificate["commissioned"]:
        yield '<p class="good">Every step that this build needs has passed, as it is set.</p>'
    else:
        yield f'<p class="bad">Not commissioned. {_closes(certificate)}</p>'
        yield _list(certificate["missing"])
    if certificate["calibrations"]:
        yield "<p>Calibrated:</p>"
        yield _list(map(_calibrated, certificate["calibrations"]))
    if certificate["reminders"]:
        yield "<p>It is time to calibrate again:</p>"
        yield _list(certificate["reminders"])
    untouched = ", into which a simulation writes nothing" if certificate["simulated"] else ""
    yield (
        f"<p>Profile {escape(certificate['profile'])}; made {escape(minute(certificate['made']))} "
        f"by version {escape(certificate['version'])}. SHA-256 of the settings file{untouched}: "
        f"<code>{escape(certificate['settings_sha256'])}</code></p>"
    )


def _closes(certificate: Mapping[str, Any]) -> str:
    if reason := certificate["closes_all_the_same"]:
        return f"By its settings it may close all the same ({escape(reason)}). What is open:"
    return "It does not close:"


def _calibrated(one: Mapping[str, Any]) -> str:
    age = "age not known" if one["age_days"] is None else f"{one['age_days']} days ago"
    return f"{one['title']}: {minute(one['wall'])}, {age}"


def _step(entry: Mapping[str, Any]) -> Iterator[str]:
    if entry["state"] == "not needed":
        return
    mark = "good" if entry["state"] == "passed" else "bad"
    state = f'<span class="{mark}">{entry["state"]}</span>'
    yield f"<section>\n<h2>{escape(entry['title'])}: {state}</h2>"
    if entry["changed"]:
        yield "<p>Since it was done, other settings came into force:</p>"
        yield _list(f"{one['path']}: {one['was']}, now {one['now']}" for one in entry["changed"])
    elif entry["why"]:
        yield f"<p>{escape(entry['why'])}</p>"
    if entry["as_found"]:
        yield from _done(entry["as_found"], "as found")
    if entry["done"]:
        yield from _done(entry["done"], "as left" if entry["as_found"] else "")
    yield "</section>"


def _done(done: Mapping[str, Any], when: str) -> Iterator[str]:
    told = f"{when}, " if when else ""
    caption = escape(f"{told}{minute(done['wall'])}, by {done['by']}, version {done['version']}")
    yield f'<div class="wide"><table>\n<caption>{caption}</caption>'
    yield (
        '<tr><th scope="col">what</th><th scope="col">measured</th>'
        '<th scope="col">good</th><th scope="col">verdict</th></tr>'
    )
    for finding in done["findings"]:
        yield _finding(finding)
    yield "</table></div>"
    if found := {key: one for key, one in done["as_found"].items() if not key.startswith("error_")}:
        yield f"<p>Found: {_values(done, found)}.</p>"
    if done["as_left"]:
        written = "A real walk would have written" if done["simulated"] else "Written"
        yield f"<p>{written} into the settings: {_values(done, done['as_left'])}.</p>"
    if done["notes"]:
        yield _list(done["notes"])


def _values(done: Mapping[str, Any], values: Mapping[str, float]) -> str:
    return escape(values_in_words(done["step"], values))


def _finding(finding: Mapping[str, Any]) -> str:
    measured, limits = figures(finding)
    verdict = "good" if finding["passed"] else escape(finding["defect"] or "not good")
    remedy = "" if finding["passed"] else f"<br>{escape(finding['remedy'])}"
    words = f"<br><span class='quiet'>{escape(finding['words'])}</span>" if finding["words"] else ""
    mark = "good" if finding["passed"] else "bad"
    return (
        f'<tr><th scope="row">{escape(finding["what"])}{words}</th>'
        f'<td class="number" data-of="measured">{escape(measured)}</td>'
        f'<td class="number" data-of="good:">{escape(limits)}</td>'
        f'<td><span class="{mark}">{verdict}</span>{remedy}</td></tr>'
    )


def _end(certificate: Mapping[str, Any]) -> Iterator[str]:
    yield "<section>\n<h2>Not tried on the bench</h2>"
    yield "<p>These rules are proved in the simulator only:</p>"
    yield _list(certificate["by_simulation_only"])
    if certificate["without"]:
        yield "<p>This build does without:</p>"
        yield _list(f"{rule}: {why}" for rule, why in certificate["without"].items())
    yield "</section>\n<h2>Settings that the steps relied on</h2>"
    yield f'<div class="relied">{_list(_relied(certificate))}</div>'
    yield "<h2>Signed</h2>"
    yield '<div class="sign">' + "".join(f"<p>{who}</p>" for who in SIGNED) + "</div>"


def _relied(certificate: Mapping[str, Any]) -> list[str]:
    """Each setting once, of the steps that were done with those in force."""
    told = {
        f"{path}: {'absent' if value is None else value}": None
        for entry in certificate["steps"]
        if entry["done"]
        for path, value in _leaves(entry["relied_on"], "")
    }
    return list(told)


def _leaves(value: Any, path: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping) and value:
        for key, one in value.items():
            yield from _leaves(one, f"{path}.{key}" if path else key)
    else:
        yield path, value


def _list(lines: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>"
