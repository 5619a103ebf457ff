"""The person of an answers file: what was written down beforehand, taken in turn."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args

from pydantic import Field

from supervisor.cli.person_at_terminal import DEGREES, MOST, UNITS, YES
from supervisor.commissioning.deeds import Deed, DidIt, MeterReads, Output
from supervisor.commissioning.person import MeterKind, Unanswered
from supervisor.measurement.meter import Meter, UnclearAccuracy, quantity, stated
from supervisor.settings.base import Settings
from supervisor.settings.document import Document, KeyPath
from supervisor.settings.faults import Fault, SettingsFaults
from supervisor.settings.fitted import fitted_channels
from supervisor.settings.load import read_document, validate
from supervisor.settings.model import SupervisorSettings

DEEDS = tuple(str(deed.key) for deed in get_args(Deed))
ALL_DONE = "done"
WHY = "An answer to another question than was asked would go on record as measured."
WHY_READ = "What the meter did not show would go on record as measured."
WHY_FILE = "What this file says goes on record as seen and measured, so none of it is guessed."
AS_SHOWN = "Write it as `holdwatch commission --help` shows it."
_LIKE = 'Write it as in the meter\'s manual: {accuracy: "0.05 % + 3", resolution: "0.1 mV"}.'


class MeterStatement(Settings):
    """What the manual says of a range, and one step of its last digit."""

    accuracy: str
    resolution: str


class Meters(Settings):
    volts: MeterStatement | None = None
    millivolts: MeterStatement | None = None
    amperes: MeterStatement | None = None


class AnswersFile(Settings):
    """``answers``: by question; a list is taken in turn, a single one holds always. ``deeds``:
    ``done``, or those that count as done."""

    meters: Meters = Meters()
    answers: dict[str, Any] = Field(default_factory=dict)
    deeds: Any = Field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Given:
    """One answer, and the line it stands in."""

    value: Any
    line: int | None


class PersonByAnswers:
    """Answers by a file. ``hands``: who does what the file says is done; nobody, on a real build,
    where hands have done it.

    Raises SettingsFaults when the file is not one of answers for these settings.
    """

    def __init__(
        self,
        path: Path,
        settings: SupervisorSettings,
        name: str,
        hands: Callable[[Deed], None] = lambda _deed: None,
        tell: Callable[[str], None] = lambda _text: None,
    ) -> None:
        self.name = name
        self._path = path
        self._hands = hands
        self._tell = tell
        document, file = _read(path)
        faults = [*_answer_faults(file, document, settings), *_deed_faults(file, document)]
        self._meters, unclear = _meters(file, document)
        if faults or unclear:
            raise SettingsFaults([*faults, *unclear])
        self._deeds = DEEDS if file.deeds == ALL_DONE else tuple(file.deeds)
        self._always = {
            key: _Given(answer, document.line(("answers", key)))
            for key, answer in file.answers.items()
            if not isinstance(answer, list)
        }
        self._begun: set[str] = set()
        self._in_turn = {
            key: [_Given(one, document.line(("answers", key, n))) for n, one in enumerate(answers)]
            for key, answers in file.answers.items()
            if isinstance(answers, list)
        }

    @property
    def surplus(self) -> tuple[str, ...]:
        """Answers that are left of lists that were begun, in words: one may have gone to another
        question. Of what nobody has asked for none has."""
        return tuple(
            f"{self._at(left[0].line)}: answers.{key}: {len(left)} more than were asked for"
            for key, left in self._in_turn.items()
            if left and key in self._begun
        )

    def tells(self, text: str) -> None:
        self._tell(text)

    def is_shown(self, text: str) -> None:
        pass

    def does(self, deed: Deed) -> None:
        if deed.key not in self._deeds:
            raise Unanswered(
                f"{self._path}: deeds: {deed.key} is not among what counts as done: {deed.text}\n"
                f"  what to do: add {deed.key} to deeds, or write deeds: done"
            )
        self._hands(deed)

    def reads(self, question: MeterReads) -> float:
        return float(self._answer(question.key, question.text).value)

    def saw(self, question: DidIt) -> bool:
        given = self._answer(question.key, question.text).value
        return given is True or (isinstance(given, str) and given.casefold() in YES)

    def meter(self, kind: MeterKind) -> Meter:
        if kind not in self._meters:
            raise Unanswered(
                f"{self._path}: meters.{kind}: it is not said how exact this meter is\n"
                f"  what to do: write its accuracy and resolution there"
            )
        return self._meters[kind]

    def _answer(self, key: str, text: str) -> _Given:
        if key in self._always:
            return self._always[key]
        if in_turn := self._in_turn.get(key):
            self._begun.add(key)
            return in_turn.pop(0)
        more = "one answer more" if key in self._in_turn else "an answer"
        raise Unanswered(
            f"{self._path}: answers.{key}: no answer to: {text}\n"
            f"  what to do: write {more} for {key}"
        )

    def _at(self, line: int | None) -> str:
        return str(self._path) if line is None else f"{self._path}:{line}"


def questions(settings: SupervisorSettings) -> dict[str, str]:
    """The keys that a build may be asked, each with its unit; none where the answer is yes or
    no."""
    units = {channel.value: channel.unit for channel in fitted_channels(settings)}
    units |= dict.fromkeys(settings.probes, DEGREES)
    return {f"meter_{name}": unit for name, unit in units.items()} | {
        f"saw_{output}": "" for output in get_args(Output)
    }


def _answer_faults(
    file: AnswersFile, document: Document, settings: SupervisorSettings
) -> list[Fault]:
    known = questions(settings)
    faults = []
    for key, given in file.answers.items():
        if key not in known:
            faults.append(document.fault(("answers", key), *_unknown(key, tuple(known))))
            continue
        answers = given if isinstance(given, list) else [given]
        paths: list[KeyPath] = [("answers", key)]
        if isinstance(given, list):
            paths = [("answers", key, number) for number in range(len(given))]
        faults += [
            document.fault(path, *words)
            for path, answer in zip(paths, answers, strict=True)
            if (words := _odd(answer, known[key]))
        ]
    return faults


def _odd(answer: Any, unit: str) -> tuple[str, str, str] | None:
    """Why it is no answer: of a meter a number, else yes or no."""
    if not unit:
        if isinstance(answer, bool) or (
            isinstance(answer, str) and answer.casefold() in ("yes", "no")
        ):
            return None
        return f"{answer!r} is neither yes nor no.", WHY, "Write true or false."
    if isinstance(answer, bool) or not isinstance(answer, int | float):
        return f"{answer!r} is no number of {unit}.", WHY_READ, "Write what it showed: 3.412."
    if abs(answer) > MOST[unit]:  # a shunt's millivolts are fewer than its amperes may be
        return f"{answer:g} {unit} is more than can be.", WHY_READ, "Put the point at its place."
    return None


def _deed_faults(file: AnswersFile, document: Document) -> list[Fault]:
    if file.deeds == ALL_DONE:
        return []
    if not isinstance(file.deeds, list):
        words = (f"{file.deeds!r} is no list of deeds.", WHY, f"Write {ALL_DONE}, or a list.")
        return [document.fault(("deeds",), *words)]
    return [
        document.fault(("deeds", number), *_unknown(str(deed), DEEDS))
        for number, deed in enumerate(file.deeds)
        if deed not in DEEDS
    ]


def _meters(file: AnswersFile, document: Document) -> tuple[Mapping[MeterKind, Meter], list[Fault]]:
    meters: dict[MeterKind, Meter] = {}
    faults = []
    for kind, unit in UNITS.items():
        statement: MeterStatement | None = getattr(file.meters, kind)
        if statement is None:
            continue
        key = "accuracy"
        try:
            stated(statement.accuracy, 1.0, unit)
            key = "resolution"
            meters[kind] = stated(statement.accuracy, quantity(statement.resolution, unit), unit)
        except UnclearAccuracy as error:
            why = "What the reference may be wrong by is part of what it calibrates."
            faults.append(document.fault(("meters", kind, key), str(error), why, _LIKE))
    return meters, faults


def _read(path: Path) -> tuple[Document, AnswersFile]:
    """Raises SettingsFaults, which speak of answers."""
    try:
        document = read_document(path)
        return document, validate(AnswersFile, document)
    except SettingsFaults as faults:
        raise SettingsFaults(map(_of_answers, faults.faults)) from None


def _of_answers(fault: Fault) -> Fault:
    """Its reader's words are those of settings, whose limits and example are none here."""
    problem = fault.problem.replace("There is no setting ", "There is no key ", 1)
    problem = problem.replace(": no settings file is.", ": no file of answers is.")
    remedy = fault.remedy
    if fault.path.startswith("meters."):
        remedy = _LIKE
    elif "settings" in remedy or "hut-bank" in remedy:
        remedy = AS_SHOWN
    return replace(fault, problem=problem, why=WHY_FILE, remedy=remedy)


def _unknown(key: str, known: tuple[str, ...]) -> tuple[str, str, str]:
    near = get_close_matches(key, known, n=1, cutoff=0.6)
    meant = f"Write {near[0]}." if near else f"It is one of {', '.join(known)}."
    return f"Nobody asks for {key} here.", WHY, meant
