"""Our single cell beside PyBaMM's Thevenin model. Prints; asserts nothing.

PyBaMM (some 800 MB) is no dependency: install it beside the project and run this by hand.
Not run by CI; the figures that the tests check were computed with it once.
"""

from pathlib import Path

import numpy as np
import pybamm

from supervisor.settings.load import load_settings
from supervisor.simulator.bank import Bank
from supervisor.simulator.chemistry import load_chemistry
from supervisor.simulator.parts.cells import CellsSettings

SETTINGS = Path(__file__).parents[2] / "config" / "hut-bank.yaml"
AMPERES, LIMIT_V, START, CAPACITY_AH = 10.0, 3.6, 0.1, 100.0


def theirs() -> tuple[float, float]:
    """Hours to the limit, and state of charge there."""
    points = np.array(load_chemistry("prada-2013").open_circuit)
    values = pybamm.ParameterValues("ECM_Example")
    values.update(
        {
            "Cell capacity [A.h]": CAPACITY_AH,
            "Nominal cell capacity [A.h]": CAPACITY_AH,
            "Initial SoC": START,
            "Open-circuit voltage [V]": lambda soc: pybamm.Interpolant(
                points[:, 0], points[:, 1], soc, interpolator="pchip"
            ),
            "R0 [Ohm]": 1e-3,
            "R1 [Ohm]": 0.5e-3,
            "C1 [F]": 20e3,
            "Element-1 initial overpotential [V]": 0,
            "Upper voltage cut-off [V]": LIMIT_V,
            "Lower voltage cut-off [V]": 2.0,
            "Current function [A]": -AMPERES,
            "Entropic change [V/K]": 0,
        }
    )
    model = pybamm.equivalent_circuit.Thevenin()
    simulation = pybamm.Simulation(model, parameter_values=values)
    solution = simulation.solve(np.arange(0, 10 * 3600, 10.0))
    return solution.t[-1] / 3600, float(solution["SoC"].entries[-1])


def ours() -> tuple[float, float]:
    settings, _ = load_settings(SETTINGS)
    cell = CellsSettings(
        chemistry="prada-2013",
        state_of_charge=START,
        resistance_milliohms=1,
        relaxation_milliohms=0.5,
        relaxation_seconds=10,
        diffusion_milliohms=0,
    )
    one = {"cells_in_parallel": 1, "cell_ampere_hours": CAPACITY_AH}
    bank = Bank(cell, settings.bank.model_copy(update=one))
    bank.feed(AMPERES)
    seconds = 0
    while bank.volts[0] < LIMIT_V:
        bank.arrive(bank.ahead(1.0, lambda _rest_v, _ohm: AMPERES))
        bank.feed(AMPERES)
        seconds += 1
    return seconds / 3600, bank.soc


if __name__ == "__main__":
    for name, (hours, soc) in (("PyBaMM", theirs()), ("ours", ours())):
        print(f"{name:<7} {hours:.4f} h to {LIMIT_V} V, state of charge {soc:.5f}")
