"""All steps, by their keys."""

from supervisor.commissioning.steps.calibration import LineStep, ZeroStep
from supervisor.commissioning.steps.contactor import (
    AuxiliaryStep,
    DriveStep,
    KillStep,
    ReleaseStep,
)
from supervisor.commissioning.steps.drives import (
    balance,
    overcurrent,
    overvoltage,
    reverse_current,
    undervoltage,
)
from supervisor.commissioning.steps.leads import LeadsStep
from supervisor.commissioning.steps.panel import StopButtonStep, panel_step, second_output_step
from supervisor.commissioning.steps.parts import PartsStep, ProbesStep
from supervisor.commissioning.steps.reached import alert_step, phone_step
from supervisor.commissioning.steps.response import ResponseStep
from supervisor.commissioning.steps.second_line import SecondLineStep
from supervisor.commissioning.steps.step import Step
from supervisor.commissioning.steps.sudden import HighSetStep, RiseStep
from supervisor.commissioning.steps.trip_points import TripStep
from supervisor.readings import Channel

_ALL: tuple[Step, ...] = (
    PartsStep(),
    DriveStep(),
    KillStep(),
    AuxiliaryStep(),
    ReleaseStep(),
    ZeroStep(),
    LineStep(Channel.FRONT_CELL),
    LineStep(Channel.FAR_CELL),
    LineStep(Channel.SHUNT),
    LeadsStep(),
    ProbesStep(),
    StopButtonStep(),
    second_output_step(),
    panel_step(),
    TripStep("overvoltage", overvoltage),
    HighSetStep(),
    TripStep("undervoltage", undervoltage),
    RiseStep(),
    TripStep("balance", balance),
    TripStep("overcurrent", overcurrent),
    TripStep("reverse_current", reverse_current),
    SecondLineStep(),
    ResponseStep(),
    phone_step(),
    alert_step(),
)
STEPS = {step.key: step for step in _ALL}
